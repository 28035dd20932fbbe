@echo off
rem Start hostlink by a double click on Windows.
where py >nul 2>nul
if not errorlevel 1 (
    py -3 "%~dp0start.py" %*
) else (
    where python >nul 2>nul
    if errorlevel 1 (
        echo hostlink needs Python 3.11 or newer, and found none. Nothing was changed.
        echo README.md says under "Start" how to get it.
        cmd /c exit 1
    ) else (
        python "%~dp0start.py" %*
    )
)
set status=%errorlevel%
if not "%status%"=="0" pause
exit /b %status%
