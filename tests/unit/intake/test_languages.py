"""A language is a folder of vocabulary files and nothing else."""

import shutil

import pytest

from analysis.intake import amounts, both_ears, headers, lengths, take_in, vocabulary, words
from analysis.settings import Settings

CACHED = (
    vocabulary.languages, vocabulary._read, vocabulary.small_words, vocabulary.small_numbers, vocabulary.negation, vocabulary.doubt, vocabulary._nothing_words,
    vocabulary.vocabulary, vocabulary.heading_entries, words._between, amounts._shares, amounts._lengths, lengths._about, lengths._part_of_an_hour,
    both_ears._marker, headers._names, headers._side_words, headers.match_heading, headers.known_columns,
)  # fmt: skip
MADE_UP = {
    "small_words": """
[sides]
left = ["vesu"]
right = ["ostu"]
[negation]
patterns = ["nul"]
[between]
patterns = ["poi"]
[counts]
kinta = 5
[parts]
halva = 0.5
[units]
lumi = 1
""",
    "headers": """
[date]
names = ["paivu"]
[grade]
names = ["vahu"]
[methods]
names = ["metu"]
[softener]
names = ["oljat"]
""",
    "grade": """
fillers = ["hyvu"]
[codes.clear]
words = ["nul vahu"]
patterns = []
examples = ["nul vahu"]
[codes.fully_occluding]
words = ["taysu"]
patterns = ['tayst\\\\w+ umpu']
examples = ["hyvu taysu", "taystu umpu"]
[codes.partly_occluding]
words = ["left"]
patterns = []
examples = ["halva"]
""",
    "methods": """
fillers = []
[codes.wide_suction]
words = ["imu"]
patterns = []
examples = ["imu"]
[codes.hook_or_loop]
words = ["kouku"]
patterns = []
examples = ["kouku"]
""",
    "softener": """
fillers = []
[codes.olive_oil]
words = ["olju"]
patterns = ['.*\\\\bolju\\\\b.*']
examples = ["olju kinta lumi"]
[codes.none]
words = ["nul olju"]
patterns = []
examples = ["nul olju"]
""",
}
EXPORT = """Paivu,Patient no,Vahu vesu,Vahu ostu,Metu vesu,Oljat
2026-03-02,1,taysu,nul vahu,imu poi kouku,olju kinta lumi
2026-03-03,2,halva,taystu umpu,kouku,nul olju
"""


@pytest.fixture
def made_up(tmp_path, monkeypatch):
    """Put a made-up language beside the shipped vocabulary."""
    shared = tmp_path / "shared"
    shutil.copytree(vocabulary.shared_folder() / "vocabulary", shared / "vocabulary")
    (shared / "vocabulary" / "made_up").mkdir()
    for name, text in MADE_UP.items():
        (shared / "vocabulary" / "made_up" / f"{name}.toml").write_text(text.replace("\\\\", "\\"), encoding="utf-8")
    for each in CACHED:
        each.cache_clear()
    monkeypatch.setattr(vocabulary, "shared_folder", lambda: shared)
    yield
    monkeypatch.undo()
    for each in CACHED:
        each.cache_clear()


@pytest.mark.usefixtures("made_up")
def test_a_third_language_needs_a_folder_of_words_and_no_line_of_code(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(EXPORT, encoding="utf-8")
    taken = take_in([path], Settings(), b"k" * 32)
    rows = taken.visits.set_index("visit_id")["source_row"]
    ears = {(rows[ear.visit_id], ear.ear): ear for ear in taken.ears.itertuples()}
    assert {place: ear.grade for place, ear in ears.items()} == {
        (2, "left"): "fully_occluding",
        (2, "right"): "clear",
        (3, "left"): "partly_occluding",
        (3, "right"): "fully_occluding",
    }
    assert [ears[row, "left"].methods for row in (2, 3)] == ["wide_suction>hook_or_loop", "hook_or_loop"]
    visits = taken.visits.sort_values("source_row")
    assert visits["softener"].tolist() == ["olive_oil", "none"]
    assert visits["softening_days"].tolist() == [5, 0]
    assert taken.record["files"][0]["headings"]["unknown"] == {}


@pytest.mark.usefixtures("made_up")
def test_a_word_that_means_two_things_in_two_languages_is_asked_about():
    folder = vocabulary.shared_folder() / "vocabulary" / "made_up"
    text = (folder / "grade.toml").read_text(encoding="utf-8").replace('words = ["left"]', 'words = ["clear"]')
    (folder / "grade.toml").write_text(text, encoding="utf-8")
    vocabulary._read.cache_clear()
    assert words.read_words("grade", ["clear"])["clear"].certainty == "unknown"
    assert words.read_words("grade", ["clear"], {"clear": "clear"})["clear"].code == "clear"


def test_german_is_read_without_a_setting_and_mixes_with_english():
    read = words.read_words("methods", ["Absaugung, dann hook", "feiner Sauger then Häkchen"])
    assert [each.code for each in read.values()] == ["wide_suction>hook_or_loop", "fine_suction>hook_or_loop"]


@pytest.mark.parametrize(
    ("column", "text", "code"),
    [
        ("grade", "nicht verlegt", "non_occluding"),
        ("grade", "kein Ohrenschmalz", "clear"),
        ("grade", "drei Viertel", "partly_occluding"),
        ("softener", "kein Olivenöl", "none"),
        ("adverse_event", "keine Schmerzen", "none"),
    ],
)
def test_german_denials_and_shares(column, text, code):
    read = words.read_words(column, [text])[text]
    assert (read.code, read.certainty) == (code, "sure")


def test_the_ears_are_told_apart_in_german():
    assert both_ears.split_sides("links voll, rechts frei") == both_ears.Sided(left="voll", right="frei")
    assert headers.match_heading("Zerumen re.").column == "grade_right"
    assert headers.match_heading("Linkes Ohr: Befund").column == "grade_left"
