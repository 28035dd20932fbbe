"""The web site, in a browser without a server: read, searched, copied, on a telephone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from devtools import DrivenBrowser

from hostlink.board.profile.file import find_profile
from hostlink.cli.entry import run_line
from hostlink.jobs.listing_source import find_material, shipped_programs
from hostlink.jobs.publishing import to_publish, write_site
from hostlink.listing import Listing
from hostlink.publish.details import ProgramDetails
from hostlink.publish.program import SampleRun, publish
from hostlink.publish.sheet_file import read_sheet
from hostlink.publish.site import contents_page, page_of_program

PRACTICE = find_profile("practice")
HOSTILE = "</script><script>document.title='run'</script>\"'><b>\u202e"
LONG = 'IF A-B-C=-1 THEN PRINT "WELL-KNOWN HALF-AND-HALF, TWENTY-ONE ";-1'
TEXT = f'10 PRINT "  TWO  BLANKS "\n20 REM {HOSTILE[:-1]}\n30 {LONG}\n40 REM  AT THE END  \n'
OUTSIDE = re.compile(r"(?:src|action|data|poster|srcset)\s*=|url\(|@import|<link|https?:", re.I)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the site of all shipped programs and one that is against us."""
    folder = tmp_path_factory.mktemp("web")
    programs, left_out = to_publish(
        [find_material(f"shipped:{name}", None) for name in shipped_programs()], PRACTICE, None
    )
    assert not left_out
    details = ProgramDetails("ODD", HOSTILE, HOSTILE, HOSTILE, HOSTILE)
    sample = SampleRun((HOSTILE, "<pre>"), (HOSTILE,), 3)
    odd = publish(Listing.from_text(TEXT), PRACTICE, details, (HOSTILE,), sample)
    write_site(folder, [*programs, odd], HOSTILE)
    return folder


def test_the_button_copies_the_listing_and_nothing_else(site: Path, browser: DrivenBrowser) -> None:
    """Clicked, and pasted into a field by the browser: every blank, no code, each line ended."""
    browser.open(site / "odd.html")
    browser.ask("Browser.grantPermissions", permissions=["clipboardSanitizedWrite"])
    browser.click("#copy button")
    told = "document.querySelector('#copy output').textContent"
    browser.until(told, "4 lines copied.")
    assert browser.pasted() == TEXT


def test_what_the_button_copies_loads_proven(
    site: Path,
    browser: DrivenBrowser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each shipped program of the practice board's BASIC, copied from its page, on that board."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    for name in ("tide", "morse"):
        browser.open(site / f"{name}.html")
        browser.ask("Browser.grantPermissions", permissions=["clipboardSanitizedWrite"])
        browser.click("#copy button")
        browser.until("document.querySelector('#copy output').textContent.length > 0", True)
        copied = tmp_path / f"{name}.bas"
        copied.write_text(browser.pasted(), encoding="utf-8")
        archive = str(tmp_path / "archive.sqlite3")
        board = "practice://copied?time=virtual"
        assert run_line(["load", str(copied), "--port", board, "--archive", archive]) == 0
        assert "proven" in capsys.readouterr().err
        assert copied.read_text() == shipped_programs()[name.upper()].path.read_text()


def test_marking_by_hand_leaves_the_codes_out(site: Path, browser: DrivenBrowser) -> None:
    """Without scripts there is no button; what is marked and copied is the listing."""
    browser.open(site / "odd.html", scripts=False)
    browser.ask("Browser.grantPermissions", permissions=["clipboardSanitizedWrite"])
    shown = "getComputedStyle(document.querySelector('#copy')).display"
    assert browser.value(shown) == "none"
    assert browser.copied(".listing") == TEXT.removesuffix("\n")


@pytest.mark.parametrize("name", ["tide", "morse", "index", "odd"])
@pytest.mark.parametrize("width", [360, 1000])
def test_nothing_is_wider_than_the_screen(
    site: Path, browser: DrivenBrowser, name: str, width: int
) -> None:
    """A telephone of 360 pixels, and a desk."""
    browser.open(site / f"{name}.html", width=width)
    assert browser.value("innerWidth") == width
    assert browser.value("document.documentElement.scrollWidth") <= width


def test_a_line_is_broken_only_at_blanks_that_are_seen(site: Path, browser: DrivenBrowser) -> None:
    """On a telephone: what fits into a row is not broken, and each blank there has its dots."""

    def shown(selector: str, side: str) -> list[list[Any]]:
        return list(browser.value(
            f"[...document.querySelectorAll('.listing .line{selector}')]"
            f".map(e => [e.textContent, e.getBoundingClientRect().{side}])"
        ))  # fmt: skip

    for name in ("weekday", "odd"):
        browser.open(site / f"{name}.html", width=360)
        rows = [height for _, height in shown("", "height")]
        words = [height for text, height in shown(" .word", "height") if len(text) < 36]
        assert len(words) > 10
        assert max(words) <= min(rows) < max(rows)
        assert min(width for _, width in shown(" .gap", "width")) > 5


def test_the_search_looks_at_titles_tags_and_listings(site: Path, browser: DrivenBrowser) -> None:
    """All words count; without any, and without scripts, every program stands there."""
    found = "[...document.querySelectorAll('.programs li:not([hidden]) a')].map(a => a.textContent)"
    browser.open(site / "index.html")
    everything = browser.value(found)
    assert len(everything) == len(shipped_programs()) + 1
    browser.value("document.querySelector('#search input').focus()")
    browser.ask("Input.insertText", text="Harbour gosub")
    assert browser.value(found) == ["Tide clock"]
    assert browser.value("document.querySelector('#search output').textContent") == (
        f"1 of {len(everything)} programs"
    )
    browser.open(site / "index.html", scripts=False)
    assert browser.value(found) == everything
    assert browser.value("getComputedStyle(document.querySelector('#search')).display") == "none"


@pytest.mark.parametrize("asked", ["gasse", "Gaße", "GRÜNE", "grune gasse", "Grűne"])
def test_the_search_takes_letters_with_and_without_accents(
    asked: str, browser: DrivenBrowser, tmp_path: Path
) -> None:
    """As `find` does: whoever types on a telephone leaves them out."""
    details = ProgramDetails("ODD", "Grüne Gaße")
    write_site(tmp_path, [publish(Listing.from_text(TEXT), PRACTICE, details)], "All")
    browser.open(tmp_path / "index.html")
    browser.value("document.querySelector('#search input').focus()")
    browser.ask("Input.insertText", text=asked)
    assert browser.value("document.querySelector('#search output').textContent") == (
        "1 of 1 programs"
    )


def test_every_page_of_the_contents_is_there(site: Path, browser: DrivenBrowser) -> None:
    """Each link leads to a page that has the same title, and back."""
    browser.open(site / "index.html")
    links = browser.value(
        "[...document.querySelectorAll('.programs a')].map(a => [a.href, a.textContent])"
    )
    assert {Path(link).name for link, _ in links} == {
        file.name for file in site.iterdir() if file.name != "index.html"
    }
    for link, title in links[:3]:
        browser.open(site / Path(link).name)
        assert browser.value("document.querySelector('h1').textContent") == title
        assert browser.value("document.querySelector('.way a').href").endswith("/index.html")


def test_hostile_text_is_text(site: Path, browser: DrivenBrowser) -> None:
    """In title, author, notes, tags, listing and output; the page reads back as a sheet."""
    for name in ("odd", "index"):
        browser.open(site / f"{name}.html")
        assert browser.value("document.scripts.length") == 1
        assert browser.value("document.title").startswith("</script>")
        assert browser.value("document.querySelectorAll('b:not(.codes b)').length") == 0
    page = (site / "odd.html").read_text(encoding="utf-8")
    read = read_sheet(page, name="odd")
    assert (read.text, read.details.title) == (TEXT, HOSTILE.replace("\u202e", "?"))


def test_no_page_refers_to_anything_outside(site: Path) -> None:
    """No picture, no style, no script, no font from elsewhere; only links to the other pages."""
    for file in site.iterdir():
        page = re.sub(r'data-(words|field|coded)="[^"]*"|"http://www.w3.org/2000/svg"', "",
                      file.read_text(encoding="utf-8"))  # fmt: skip
        assert not OUTSIDE.search(page), file
        assert all("/" not in link for link in re.findall('href="([^"]*)"', page))
        assert page.count("<script>") == 1


def test_a_changed_script_is_not_run(site: Path, browser: DrivenBrowser, tmp_path: Path) -> None:
    """The policy names the script by its SHA-256: one character more, and there is no button."""
    page = (site / "odd.html").read_text(encoding="utf-8")
    (tmp_path / "changed.html").write_text(page.replace("<script>", "<script> "), encoding="utf-8")
    browser.open(tmp_path / "changed.html")
    assert browser.value("document.querySelector('#copy').hidden") is True


def test_a_program_named_like_the_contents_has_a_page_of_its_own(tmp_path: Path) -> None:
    """And names that differ only in case, or in what no file name can hold."""
    names = ["INDEX", "A/B", "A:B", "A B&C"]
    programs = [
        publish(Listing.from_text("10 END\n"), PRACTICE, ProgramDetails(name)) for name in names
    ]
    made = write_site(tmp_path / "site", programs, "Names")
    assert sorted(made.written) == sorted(
        ["index-2.html", "a_b.html", "a_b-2.html", "a b&c.html", "index.html"]
    )
    contents = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert 'href="a%20b%26c.html"' in contents


@pytest.mark.parametrize(("title", "named"), [("", 1), ("Bands", 2)])
def test_the_contents_name_a_program_without_a_title_once(title: str, named: int) -> None:
    """Its name is its heading; only beside a title does it stand in small type too."""
    details = ProgramDetails("BANDS", title)
    one = publish(Listing.from_text("10 END\n"), PRACTICE, details)
    shown = re.sub(r"<[^>]*>", "", contents_page({"bands.html": one}, "T"))
    assert shown.upper().count("BANDS") == named


def test_what_a_program_prints_is_cut_after_some_rows() -> None:
    """The rest is counted; the answers are told."""
    sample = SampleRun(("A", "B"), ("27", "5"), 40)
    one = publish(Listing.from_text("10 END\n"), PRACTICE, ProgramDetails("A"), sample=sample)
    page = page_of_program(one)
    assert "Answers typed: 27, 5" in page
    assert '<pre class="printed">\nA\nB</pre>\n<p>40 more rows.</p>' in page
    assert "A B" not in contents_page({"a.html": one}, "T")
