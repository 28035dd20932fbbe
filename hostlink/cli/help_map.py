"""What the help shows besides the commands' own text: their groups, and examples for each.

A test runs every example, in a folder with a listing evening.bas, a listing from a forum forum.txt,
an image.hex, a file class.txt for `together` and a class.toml, with a board that holds HAIL.
"""

from __future__ import annotations

# Title: the commands under it, in the order in which help lists them. Each command is in one group.
GROUPS: dict[str, tuple[str, ...]] = {
    "Begin here": ("practice", "boards", "meet", "survey"),
    "Programs into the board and out of it": (
        *("load", "save", "run", "console", "stored", "store", "recall", "together", "class"),
    ),
    "Work on a listing": (
        "review",
        "mend",
        "renumber",
        "shrink",
        "adapt",
        "try",
        "compare",
        "sheet",
        "card",
        "booklet",
        "site",
    ),
    "The archive, in which every version is kept": (
        *("programs", "find", "show", "history", "runs", "note", "tag", "keep"),
        *("give", "retire", "return", "archive"),
    ),
    "Safety: before something is lost": ("backup", "putback", "restart", "firmware"),
}

# Examples that are shown both for a group and for one of its commands.
_SEE_IMAGE = ("See what an image holds; nothing is sent", "firmware review image.hex")
_SEE_WRITTEN = ("See what was written to which board", "firmware history")
_PROVE = ("Check everything that is kept", "archive prove")

# Command, also within a group: what each example does, and its words after "hostlink".
EXAMPLES: dict[str, tuple[tuple[str, str], ...]] = {
    "practice": (
        ("Open the app on a board made of software", "practice"),
        ("List all kinds of practice board", "practice --kinds"),
    ),
    "boards": (
        ("List the boards and their ports", "boards"),
        ("Call a board Red; then --port Red means it", "boards --label Red --port practice://red"),
    ),
    "meet": (
        ("Find out where a silent board fails", "meet"),
        ("Allow a restart, so that the bootloader can answer", "meet --port Red --yes"),
    ),
    "survey": (
        ("Find out what the board is, without changing anything on it", "survey"),
        ("Measure storing too, and name the profile", "survey --storing --keep evening"),
    ),
    "load": (
        ("Load a shipped program and run it", "load tide --run"),
        ("Load your own file into the board called Red", "load evening.bas --port Red"),
    ),
    "save": (
        ("Save the board's program as a new revision of HAIL", "save hail"),
        ("Save the programs of all boards that are here", "save --all"),
    ),
    "run": (
        ("Run it, with its answers typed from a file", "run --input answers.txt"),
        ("Write what it prints to a file", "run --input answers.txt -o printed.txt"),
    ),
    "console": (
        ("Talk to the board; leave! ends it", "console"),
        ("Record what is sent and received", "console --record wire.txt"),
    ),
    "restart": (
        ("Begin again with an empty memory", "restart"),
        ("Restart one that no longer comes to its prompt", "restart --discard-board"),
    ),
    "stored": (
        ("List what is stored on the board", "stored"),
        ("The same for a script", "stored --json"),
    ),
    "store": (
        ("Store the program in memory as HAIL", "store HAIL"),
        ("Store it on the board called Red", "store LIGHTS --port Red"),
    ),
    "recall": (
        ("Bring back what is stored as HAIL", "recall HAIL"),
        ("The same; say only what goes wrong", "recall HAIL --quiet"),
    ),
    "backup": (
        ("Keep it all, with a note", 'backup --note "before the class"'),
        ("List what was kept", "backup --list"),
    ),
    "putback": (
        ("Put a whole backup back", "putback backup@1"),
        ("Put back only the program in memory", "putback backup@1 --item memory"),
    ),
    "firmware": (
        _SEE_IMAGE,
        _SEE_WRITTEN,
    ),
    "firmware review": (
        _SEE_IMAGE,
        ("For a larger bootloader", "firmware review image.hex --bootloader-bytes 4096"),
    ),
    "firmware write": (
        ("Write an image to a computer", "firmware write image.hex --role computer"),
        ("Write the earlier firmware again", "firmware write --previous"),
    ),
    "firmware history": (
        _SEE_WRITTEN,
        ("The same for a script", "firmware history --json"),
    ),
    "together": (
        ("Run the commands in a file", "together class.txt"),
        ("Run them on the board called Red", "together class.txt --port Red"),
    ),
    "class": (
        ("Hand out to every board of the class", "class class.toml --hand-out"),
        (
            "Collect from all, and write a page to print",
            "class class.toml --collect --page page.html",
        ),
    ),
    "review": (
        ("See whether a listing fits and what is wrong with it", "review evening.bas"),
        ("List its rules", "review --rules"),
    ),
    "mend": (
        ("Repair a listing from a forum", "mend forum.txt -o repaired.bas"),
        ("Only look at what would be repaired", "mend forum.txt"),
    ),
    "renumber": (
        ("Number 10, 20, 30 ...", "renumber evening.bas -o numbered.bas"),
        ("Begin at 100, in steps of 5", "renumber hail --start 100 --step 5"),
    ),
    "adapt": (
        ("Rewrite a listing for another board", "adapt hail --profile capital -o capital.bas"),
        (
            "Name the BASIC that it is written in",
            "adapt evening.bas --from practice --profile token",
        ),
    ),
    "try": (
        (
            "Keep what HAIL prints for these answers as expected",
            "try HAIL --input answers.txt --expect",
        ),
        ("Try every program whose output is expected", "try --all"),
    ),
    "shrink": (
        ("Make it small, without lines never reached", "shrink evening.bas --unreached"),
        ("Stop when it fits into 700 bytes", "shrink hail --to-fit --room 700"),
    ),
    "compare": (
        ("Show what changed from one revision to the next", "compare shipped:HAIL HAIL@1"),
        ("Compare two files as a unified diff", "compare evening.bas evening.bas --unified"),
    ),
    "sheet": (
        ("Write a page to type a program from", "sheet hail -o hail.html"),
        ("With a heading of your own", 'sheet hail -o page.html --title "Tuesday"'),
    ),
    "card": (
        ("Write the practice board's card", "card --profile practice -o practice.html"),
        ("Write the card of the board that is here", "card -o board.html"),
    ),
    "booklet": (
        ("Write every program as one booklet to print", "booklet -o evening.html"),
        ("Write two of them", 'booklet hail tide -o two.html --title "For Friday"'),
    ),
    "site": (
        ("Write every program as a web site", "site -o evening-site"),
        ("Write those that a search finds", "site --find hailstone -o hail-site"),
    ),
    "keep": (
        ("Keep a file as a program", "keep evening.bas"),
        ("Make a program of a rescue", "keep rescue@1 --as FOUND"),
    ),
    "give": (
        ("Give out one program as a file", "give hail -o for-the-class"),
        ("Give out everything in one zip file", "give -o everything.zip"),
    ),
    "programs": (
        ("List your programs", "programs"),
        ("List those that come with hostlink", "programs --shipped"),
    ),
    "find": (
        ("Find words in names, notes and listings", "find hailstone"),
        ("Find the programs that printed these words", "find --printed highest"),
    ),
    "show": (
        ("Write an earlier one to a file", "show HAIL@1 -o hail-1.bas"),
        ("Say which revision each line is from", "show hail --origins"),
    ),
    "history": (
        ("List the revisions of a program", "history hail"),
        ("See how it grew, up to the board's limit", "history hail --sizes"),
    ),
    "runs": (
        ("List the runs of a program", "runs hail"),
        ("Draw the numbers that revision 1 printed last", "runs HAIL@1 --plot"),
    ),
    "note": (
        ("Put a note on a program", 'note hail "27 climbs highest"'),
        ("Note something about its first revision", 'note HAIL@1 "as typed in class"'),
    ),
    "tag": (
        ("Put two tags on a program", "tag hail friday numbers"),
        ("Take one off", "tag hail friday --off"),
    ),
    "retire": (
        ("Leave HAIL out of the list", "retire hail"),
        ("The same, in another archive", "retire hail --archive spare.sqlite3"),
    ),
    "return": (
        ("List OLD again", "return OLD"),
        ("The same, in another archive", "return OLD --archive spare.sqlite3"),
    ),
    "archive": (
        _PROVE,
        ("Copy the archive to another disk", "archive duplicate copy.sqlite3"),
    ),
    "archive prove": (
        _PROVE,
        ("Rebuild a damaged search index", "archive prove --rebuild"),
    ),
    "archive duplicate": (
        ("Copy the archive", "archive duplicate copy.sqlite3"),
        ("Copy another archive", "archive duplicate other.sqlite3 --archive spare.sqlite3"),
    ),
    "archive export": (
        ("Write everything as plain files", "archive export evening-bag"),
        ("Only one program", "archive export hail-bag --only HAIL"),
    ),
    "archive import": (
        ("Take in the archive of another computer", "archive import spare.sqlite3"),
        ("See first what would be taken in", "archive import spare.sqlite3 --preview"),
    ),
}


def examples(command: str) -> str:
    """Return the examples of a command for the end of its help, or "". command: as in EXAMPLES."""
    rows = [f"  {what}:\n    hostlink {words}" for what, words in EXAMPLES.get(command, ())]
    return "\n".join(["\b", "Examples:", *rows]) if rows else ""
