"""The drawings: as the content is now, every state and prompt in them, no box upon another."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from bot.content.load import load_book, load_protocols
from bot.content.pictures.album import album, stale
from bot.content.pictures.layout import leads_back, place
from bot.content.pictures.states import span

ROOT = Path(__file__).parents[2]
BOOK = load_book(ROOT / "flows")
DRAWN = album(ROOT / "flows")
TALKS = sorted(name.removeprefix("talk_").removesuffix(".svg") for name in DRAWN if "talk_" in name)


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(svg).iter() if node.text]


def boxes(svg: str) -> list[tuple[float, float, float, float]]:
    rects = ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}rect")
    found = [
        tuple(float(r.attrib[k]) for k in ("x", "y", "width", "height"))
        for r in rects
        if "x" in r.attrib
    ]
    return [b for b in found if b[2] > 100]


def test_the_drawings_in_docs_are_those_of_the_content_now() -> None:
    """When this fails: run `countdown pictures`, look at what changed, commit it."""
    assert stale(DRAWN, ROOT / "docs" / "pictures") == []


def test_an_old_a_missing_and_a_left_over_drawing_are_named(tmp_path: Path) -> None:
    (tmp_path / "talk_a.svg").write_text("old")
    (tmp_path / "talk_gone.svg").write_text("gone")
    assert stale({"talk_a.svg": "new", "talk_b.svg": "b"}, tmp_path) == [
        "talk_a.svg",
        "talk_b.svg",
        "talk_gone.svg",
    ]


@pytest.mark.parametrize("name", TALKS)
def test_every_state_has_its_box_and_no_box_lies_on_another(name: str) -> None:
    svg, flow = DRAWN[f"talk_{name}.svg"], BOOK.flows[name]
    assert {state.replace("_", " ") for state in flow.states} <= set(texts(svg))
    drawn = boxes(svg)
    assert len(drawn) == len(flow.states)
    for n, (x, y, width, height) in enumerate(drawn):
        for other_x, other_y, other_width, other_height in drawn[n + 1 :]:
            apart = x + width <= other_x or other_x + other_width <= x
            assert apart or y + height <= other_y or other_y + other_height <= y


@pytest.mark.parametrize("joint", ["hip", "knee"])
def test_every_prompt_has_a_row_in_the_timeline(joint: str) -> None:
    shown = set(texts(DRAWN[f"timeline_{joint}.svg"]))
    assert {p.id.replace("_", " ") for p in load_protocols(ROOT / "flows")[joint].prompts} <= shown


def test_a_way_back_is_told_from_a_way_on() -> None:
    arrows = [("a", "b"), ("b", "c"), ("c", "a"), ("a", "c")]
    assert leads_back("a", arrows) == {("c", "a")}


def test_every_arrow_leads_to_the_right_and_a_long_one_has_lanes_of_its_own() -> None:
    sizes = dict.fromkeys("abcd", (100.0, 50.0))
    arrows = [("a", "b"), ("b", "c"), ("c", "d"), ("a", "d")]
    placed = place("a", sizes, arrows)
    for source, target in arrows:
        assert placed.corners[source][0] + 100 < placed.corners[target][0]
    lane_heights = {y for _, y in placed.lanes["a", "d"]}
    for x, y in placed.lanes["a", "d"]:
        assert all(
            not (cx < x < cx + 100 and cy < y < cy + 50) for cx, cy in placed.corners.values()
        )
    assert lane_heights


@pytest.mark.parametrize(
    ("minutes", "words"), [(0, "0 min"), (90, "90 min"), (120, "2 h"), (2880, "2 d")]
)
def test_a_length_of_time_is_said_in_its_largest_whole_unit(minutes: int, words: str) -> None:
    assert span(minutes) == words
