"""The review as text and as a report: whole, within 80 columns, and deaf to what is hidden in names."""

import re
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import pytest
from rich.cells import cell_len

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange import report
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.factors import FACTORS
from pupawatch.review.page import page, review_json
from pupawatch.words.review_page import lines

MakePupa = Callable[..., Pupa]
NOW = datetime(2026, 9, 1, tzinfo=UTC)
HOSTILE = '<script>alert(1)</script>\x1b[31m"[/bold]&\u202e=1+1'


class Tags(HTMLParser):
    """Collects the tags, attributes and open elements of a document."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag != "meta":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture
def season(make: MakePupa) -> list[Pupa]:
    pupae = [make(wings="sound", site="Roof", moved_after=50 + i) for i in range(8)]
    pupae += [make(wings="crumpled", site="Jar", moved_after=20 + i, emergency="fallen") for i in range(6)]
    pupae += [make(wings="sound", site="Jar", days=11) for _ in range(4)]
    return [*pupae, make(lost="disease", site=HOSTILE), make(lost="disease", site="Stems"), make(emerged=True), make()]


@pytest.mark.parametrize("by", [*FACTORS, "site,moved"])
def test_every_page_holds_to_80_columns_and_hides_nothing(by: str, season: list[Pupa], settings: Settings) -> None:
    told = lines(page(season, settings, NOW, by), 80)
    assert max(cell_len(line) for line in told) <= 80
    assert all(line.isprintable() for line in told)
    text = "\n".join(told)
    for title in ("IN WORDS", "SUCCESS", "COUNTS", "WINGS DEFORMED", "STILL PUPAE", "HOUR OF EMERGENCE", "PUBLISHED"):
        assert title in text


def test_published_rates_stand_as_context_with_their_source(season: list[Pupa], settings: Settings) -> None:
    # 183 of 198 sound: computed from the data of Ragonese et al., temperature experiment 2019; Wilson 87.9-95.4 %.
    text = " ".join(" ".join(lines(page(season, settings, NOW))).split())
    assert "183 of 198 (92 %, 95 % interval 88 to 95 %). Ragonese et al." in text


def test_an_empty_journal_says_no_data(settings: Settings) -> None:
    nothing = page([], settings, NOW)
    assert "No data: no pupa recorded yet." in lines(nothing)
    assert "No data" in report.html(nothing)
    record = review_json([], settings)
    assert record["rows"] == []
    assert record["total"]["success"] == dict.fromkeys(("rate", "low", "high", "worst", "best"))


@pytest.mark.parametrize("by", [*FACTORS, "site,moved"])
def test_the_report_runs_nothing_and_asks_no_network(by: str, season: list[Pupa], settings: Settings) -> None:
    document = report.html(page(season, settings, NOW, by))
    read = Tags(document)
    assert read.open == []
    allowed = {"html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "section", "ul", "li", "svg", "text"}
    allowed |= {"line", "circle", "rect", "polygon", "polyline", "table", "thead", "tbody", "tr", "th", "td"}
    assert set(read.tags) <= allowed
    assert not {name for name, _ in read.attributes} & {"src", "href", "onload", "onclick", "style"}
    assert not re.search(r"https?:|url\(|@import", document)
    assert "\x1b" not in document
    assert "default-src 'none'" in document


def test_what_a_keeper_typed_is_only_text_in_the_report(season: list[Pupa], settings: Settings) -> None:
    document = report.html(page(season, settings, NOW, "site"))
    assert "<script" not in document
    assert "&lt;script&gt;alert(1)" in document


def test_the_report_is_written_whole_or_the_reason_is_said(
    season: list[Pupa], settings: Settings, tmp_path: Path
) -> None:
    path = tmp_path / "season.html"
    report.write(page(season, settings, NOW), path)
    assert path.read_text(encoding="utf-8").endswith("</html>\n")
    with pytest.raises(Unusable, match="cannot be written"):
        report.write(page(season, settings, NOW), tmp_path / "no folder" / "season.html")
    with pytest.raises(NotUnderstood, match="exists already"):  # as the journal does
        report.write(page(season, settings, NOW), path)


def test_the_record_needs_no_statistics_library_for_an_empty_season() -> None:
    loaded = "import sys, pupawatch.review.page, pupawatch.words.review_page"
    script = f"{loaded}; assert not {{'scipy', 'numpy'}} & set(sys.modules)"
    subprocess.run([sys.executable, "-c", script], check=True)


@pytest.mark.parametrize(
    ("own", "complaint"),
    [
        ('[review]\ndeformed = ["torn"]\n', "'torn' is not one of the wings"),
        ("[review]\nhang_bins_hours = [48, 24]\n", "must rise"),
        ("[review]\nprior_sound = 0\n", "prior_sound"),
        ("[review]\nsmalest_group = 3\n", "smallest_group"),
        ("[review.published.mine]\nwords = 'x'\nhits = 3\nn = 2\nsource = 'y'\n", "hits must not be more than n"),
    ],
)
def test_review_settings_that_cannot_be_are_refused_by_name(own: str, complaint: str, tmp_path: Path) -> None:
    (tmp_path / "care.toml").write_text(own, encoding="utf-8")
    with pytest.raises(Unusable, match=re.escape(complaint)):
        files.load(tmp_path)


def test_a_keeper_may_call_creased_wings_sound(tmp_path: Path, make: MakePupa) -> None:
    (tmp_path / "care.toml").write_text('[review]\ndeformed = ["crumpled", "unexpanded"]\n', encoding="utf-8")
    mine = msgspec.structs.replace(files.load(tmp_path), zone="UTC")
    assert review_json([make(wings="creased")], mine)["total"]["sound"] == 1
