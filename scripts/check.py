"""Make the test environment and run everything that must hold; the same here and in CI.

    python3 scripts/check.py                          all that is quick, in some minutes
    python3 scripts/check.py --only mypy              some steps (may be given more than once)
    python3 scripts/check.py -- tests/link -k echo    pytest's own arguments after --
    python3 scripts/check.py --ci                     everything, as CI; allow no skip

A failing step does not stop the others; the status is 1 if any failed. Any old Python can read
this file and say which one is needed; the steps are in check_steps.py.
"""

import sys

import start

if __name__ == "__main__":
    complaint = start.complaint_about(sys.version_info, "check.py")
    if complaint:
        sys.stderr.write(complaint)
        sys.exit(1)
    import check_steps

    try:
        sys.exit(check_steps.main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
