"""The pages in a real browser: printed on A4, nothing cut off, nothing wider than the sheet.

Chromium prints them without a window; pdftotext and pdfinfo (poppler) read what was
printed. If one of them is not installed, these tests are skipped.
"""

from __future__ import annotations

import itertools
import re
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.reports import story
from tests.reports.conftest import told
from tests.reports.filled import rendered
from tests.reports.page import Page

if TYPE_CHECKING:
    from pathlib import Path

    from tests.reports.filled import Told

__all__ = ["told"]
PROGRAMS = ("chromium", "pdftotext", "pdfinfo")
LACKING = [each for each in PROGRAMS if shutil.which(each) is None]
pytestmark = pytest.mark.skipif(bool(LACKING), reason=f"not installed: {', '.join(LACKING)}")
POINTS = 72 / 25.4  # in a millimetre
A4 = (210 * POINTS, 297 * POINTS)  # ISO 216
SIDE = 14 * POINTS  # the margin that the style sheet sets
FOOT = re.compile(r"sheet \d+ of \d+")
# Names each element that is wider than the page's own column, or than its own box.
WIDER = """<script>
const right = document.body.getBoundingClientRect().right;
const wide = [...document.querySelectorAll('body, body *')].filter(e => !e.closest('svg')
  && (e.getBoundingClientRect().right > right + 1
  || (e.tagName != 'SPAN' && e.scrollWidth > e.clientWidth + 1 && e.clientWidth)));
document.title = 'WIDER: ' + wide.map(e => e.tagName + ' ' + e.className).join(', ') + ';';
</script></body>"""


def browser(folder: Path, *words: str) -> str:
    """Run the browser without a window, in a profile of its own; return what it printed."""
    done = subprocess.run(
        [
            "chromium",
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            f"--user-data-dir={folder / 'profile'}",
            *words,
        ],
        capture_output=True,
        check=True,
        timeout=120,
        text=True,
        encoding="utf-8",
        errors="replace",
    )
    return done.stdout


def printed(folder: Path, data: bytes) -> Path:
    """Print a page to PDF."""
    page, pdf = folder / "page.html", folder / "page.pdf"
    page.write_bytes(data)
    browser(folder, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
    return pdf


def pdf_text(pdf: Path, *words: str) -> str:
    """Return the text of a PDF, in the order in which it was drawn."""
    done = subprocess.run(
        ["pdftotext", *words, str(pdf), "-"], capture_output=True, check=True, timeout=60
    )
    return done.stdout.decode("utf-8", "replace")


def sheets(pdf: Path) -> int:
    """Return the number of sheets."""
    done = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, check=True, timeout=60)
    found = re.search(rb"^Pages:\s+(\d+)$", done.stdout, re.MULTILINE)
    assert found is not None
    assert b"(A4)" in done.stdout
    return int(found[1])


def squeezed(text: str) -> str:
    """Return a text without white space, and without the foot of each sheet."""
    return re.sub(r"\s+", "", FOOT.sub("", text))


def assert_inside(pdf: Path) -> None:
    """Assert that every word is inside the margins."""
    boxes = re.findall(
        r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>',
        pdf_text(pdf, "-bbox"),
    )
    assert len(boxes) > 100
    for left, top, right, bottom, word in boxes:
        assert float(left) >= SIDE - 1, word
        assert float(right) <= A4[0] - SIDE + 1, word
        assert float(top) >= 0, word
        assert float(bottom) <= A4[1], word


@pytest.mark.parametrize(("name", "most"), [("swap", 8), ("copy", 4), ("visit", 5)])
def test_every_word_is_on_the_sheets_of_the_pdf(
    tmp_path: Path, told: dict[str, Told], name: str, most: int
) -> None:
    """In few sheets, each numbered; of a swap, the five items of UR E22 (Rev.3, 6.11) too."""
    template, values = told[name]
    from parambak.reports.html import render

    data = render(template, values)
    pdf = printed(tmp_path, data)
    count = sheets(pdf)
    assert 2 <= count <= most
    assert_inside(pdf)
    text = pdf_text(pdf, "-raw")
    assert f"sheet {count} of {count}" in text
    words = set(re.findall(r"[\w.:@=+-]{3,24}", Page(data).text))
    shown = squeezed(text)
    assert sorted(word for word in words if word not in shown) == []
    if name == "swap":
        for item in (
            "purpose stays dark",
            "description the processor card is replaced",
            "conclusion on impact alarm 14 is out meanwhile",
            "card identity and software card.software 3.20",
            "test report contents proven by bytes; stop passed",
        ):
            assert squeezed(item) in shown, item


def test_texts_of_any_length_are_printed_whole(tmp_path: Path, told: dict[str, Told]) -> None:
    """3,000 letters without a space, or of marks and script, in each place of a copy's page."""
    given: list[str] = []
    numbers = itertools.count(100)

    def text() -> str:
        number = next(numbers)
        long = "<script>alert(1)</script>" if number % 2 else "W" * 3_000
        given.append(f"n{number}z{long}")
        return given[-1]

    pdf = printed(tmp_path, rendered(told["copy"], text))
    assert_inside(pdf)
    shown = squeezed(pdf_text(pdf, "-raw"))
    assert shown.count("W") >= 3_000 * sum("W" in each for each in given)
    assert [each[:5] for each in given if each[:5] not in shown] == []
    assert shown.count("<script>alert(1)</script>") >= sum("<" in each for each in given)


@pytest.mark.parametrize("long", [False, True])
def test_no_element_is_wider_than_the_page(
    tmp_path: Path, told: dict[str, Told], long: bool
) -> None:
    """Measured by the browser itself, over the three pages put behind each other."""
    bodies = []
    for name in story.PAGES:
        template, values = told[name]
        from parambak.reports.html import render

        numbers = itertools.count()
        data = (
            rendered(told[name], lambda: f"{next(numbers)}" + "W" * 700)  # noqa: B023 - run at once
            if long
            else render(template, values)
        )
        head, _, rest = data.decode("utf-8").partition("<body>")
        bodies.append(rest.partition("</body>")[0])
    head = re.sub(r"<meta http-equiv[^>]*>", "", head)
    page = tmp_path / "wide.html"
    page.write_text(f"{head}<body>{''.join(bodies)}{WIDER}</html>", encoding="utf-8")
    dom = browser(tmp_path, "--window-size=794,1123", "--dump-dom", page.as_uri())
    found = re.search(r"<title>WIDER: (.*?);</title>", dom)
    assert found is not None
    assert found[1] == ""


def test_nothing_of_a_page_is_run_or_fetched(tmp_path: Path, told: dict[str, Told]) -> None:
    """Script in every place of a page leaves its title as it was."""
    attack = "</title></style><script>document.title='RUN'</script><img src=x onerror=RUN()>"
    page = tmp_path / "attack.html"
    page.write_bytes(rendered(told["visit"], lambda: attack))
    dom = browser(tmp_path, "--dump-dom", page.as_uri())
    assert "<title>RUN" not in dom
    assert "<script" not in dom
    assert "<img" not in dom
