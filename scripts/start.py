"""Set hostlink up, once, and run it.

    python3 scripts/start.py                 the app, on the practice board or that of HOSTLINK_PORT
    python3 scripts/start.py --tour          the main job told step by step; so without a terminal
    python3 scripts/start.py programs        any other arguments go to hostlink
    python3 scripts/start.py --python ARGS   the environment's own Python
    python3 scripts/start.py --pack FOLDER   a folder that starts without a network, see pack.py

On Windows begin with `py` in place of `python3`. A pack has this file at its top too. It must be
readable by any old Python, because the first thing it does is to say which Python is needed; the
rest is in environment.py.
"""

import os
import sys

NEEDED = (3, 11)
HERE = os.path.dirname(os.path.abspath(__file__))
AT_TOP = os.path.isdir(os.path.join(HERE, "scripts"))
ROOT = HERE if AT_TOP else os.path.dirname(HERE)


def complaint_about(version, script="start.py"):
    """Return why this version of Python (a tuple of numbers) will not do, or an empty text."""
    if tuple(version[:2]) >= NEEDED:
        return ""
    name = script if AT_TOP else os.path.join("scripts", script)
    return (
        "hostlink needs Python %d.%d or newer, and this is Python %d.%d. Nothing was changed. "
        "Install a newer Python, or start this with one by its name: python%d.%d %s\n"
    ) % (NEEDED + tuple(version[:2]) + NEEDED + (name,))


def command_for(arguments, python, terminal):
    """Return the command line to run in the environment whose interpreter is `python`.

    terminal: whether somebody sits at one, so that the app can be shown.
    """
    if arguments[:1] == ["--python"]:
        return [python] + arguments[1:]
    if arguments[:1] == ["--pack"]:
        return [python, os.path.join(ROOT, "scripts", "pack.py")] + arguments[1:]
    if arguments == [] and terminal:
        arguments = [] if os.environ.get("HOSTLINK_PORT") else ["practice"]
    elif arguments in ([], ["--tour"]):
        return [python, "-P", os.path.join(ROOT, "scripts", "tour.py")]
    # -P: a file click.py in the user's own folder must not take the place of the library.
    return [python, "-P", "-m", "hostlink"] + arguments


def called(script):
    """Return what was typed to start this, so that hostlink can name its commands so."""
    if os.name == "nt":
        return 'py "%s"' % script if " " in script else "py " + script
    import shlex

    return "%s %s" % (os.path.basename(sys.executable), shlex.quote(script))


def main(arguments):
    """Set up if needed, then become the asked-for command. Returns an exit status."""
    complaint = complaint_about(sys.version_info)
    if complaint:
        sys.stderr.write(complaint)
        return 1
    sys.path.insert(0, os.path.join(ROOT, "scripts"))
    import environment
    import wheels

    packing = arguments[:1] == ["--pack"]
    if wheels.is_pack(ROOT):
        if packing:
            sys.stderr.write("This folder is a pack itself. Nothing was done. Copy it as it is.\n")
            return 1
        name = "environment-%d.%d" % sys.version_info[:2]
        place = environment.Environment(ROOT, name=name, packed=True)
    else:
        place = environment.Environment(ROOT)
    try:
        place.prepare("pack" if packing else "run")
    except environment.SetupError as error:
        sys.stderr.write("%s\n" % error)
        return 1
    except KeyboardInterrupt:
        sys.stderr.write("\nStopped. The next start sets up afresh.\n")
        return 130
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    if arguments[:1] not in (["--python"], ["--pack"]):
        os.environ["HOSTLINK_CALLED"] = called(sys.argv[0])
    return environment.become(command_for(arguments, str(place.python), terminal))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
