#!/bin/sh
# Start hostlink by a double click on macOS; on any system with a shell: sh hostlink.command
cd "$(dirname "$0")" || exit 1
for python in python3.14 python3.13 python3.12 python3.11 python3 ""; do
    "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && break
done
if [ -n "$python" ]; then
    "$python" start.py "$@"
    status=$?
else
    echo "hostlink needs Python 3.11 or newer, and none was found. Nothing was changed." >&2
    echo "README.md says how to get it." >&2
    status=1
fi
if [ "$status" -ne 0 ] && [ -t 0 ]; then
    printf 'Press Enter to close this window. '
    read -r _
fi
exit "$status"
