"""What must hold for any text of a coded column, however odd."""

import tomllib

from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.intake.both_ears import split_sides
from analysis.intake.headers import match_headings
from analysis.intake.heading_content import judged
from analysis.intake.open_questions import MARK, _quoted, with_questions
from analysis.intake.row_columns import EAR_FACTS
from analysis.intake.vocabulary import heading_entries, plain, vocabulary
from analysis.intake.words import LEAST_CONFIDENCE, read_words
from analysis.schema import METHOD_JOIN
from analysis.settings import Settings, settings_from_toml

COLUMNS = sorted(name for name, entry in heading_entries().items() if entry["kind"] in ("code", "yes_no", "methods"))
KNOWN = sorted({word for column in COLUMNS for word in vocabulary(column).exact})
JOINS = [" ", ", ", " then ", " + ", "/", " & ", " not ", " no ", "? ", " > ", " und ", " 5/7 ", "~80% ", "L ", " R: "]
TEXTS = st.one_of(
    st.text(max_size=40),
    st.lists(st.sampled_from([*KNOWN, *JOINS]), min_size=1, max_size=5).map("".join),
    st.builds(lambda word, at, letter: word[:at] + letter + word[at + 1 :], st.sampled_from(KNOWN), st.integers(0, 12), st.characters()),
)  # fmt: skip


@given(column=st.sampled_from(COLUMNS), texts=st.lists(TEXTS, max_size=4))
@example(column="methods", texts=["", ">", "then", "1. ", "\x00"])
@settings(max_examples=150, deadline=None)
def test_any_text_is_read_or_asked_about_and_never_coded_below_the_confidence(column, texts):
    for text, each in read_words(column, texts).items():
        assert each.text == text
        assert each.certainty in ("sure", "guessed", "nothing", "unknown")
        assert (each.code is None) == (each.certainty in ("nothing", "unknown"))
        if each.code is not None:
            assert each.confidence >= LEAST_CONFIDENCE
            assert set(each.code.split(METHOD_JOIN)) <= set(vocabulary(column).labels)
        if each.certainty == "guessed":
            assert each.confidence < 1


@given(column=st.sampled_from(COLUMNS), text=TEXTS, data=st.data())
@settings(max_examples=150, deadline=None)
def test_the_clinics_own_word_always_wins(column, text, data):
    code = data.draw(st.sampled_from([*vocabulary(column).labels, ""]))
    read = read_words(column, [text], {plain(text): code})[text]
    assert read.code == (code or None)
    assert read.confidence == 1


@given(column=st.sampled_from(COLUMNS), texts=st.lists(TEXTS, min_size=1, max_size=5, unique=True))
@settings(max_examples=60, deadline=None)
def test_a_text_is_read_alike_whatever_stands_beside_it(column, texts):
    together = read_words(column, texts)
    for text in texts:
        assert read_words(column, [text])[text] == together[text]


@given(text=TEXTS, may_trail=st.booleans())
@settings(max_examples=150, deadline=None)
def test_cutting_a_cell_by_ears_invents_nothing(text, may_trail):
    sided = split_sides(text, may_trail=may_trail)
    assert bool(sided.rest) != bool(sided.left or sided.right) or not text
    assert all(part in text for part in (sided.left, sided.right, sided.rest))


@given(column=st.sampled_from(sorted(heading_entries())), values=st.lists(TEXTS, max_size=5))
@settings(max_examples=150, deadline=None)
def test_content_never_raises_and_gives_a_column_that_exists(column, values):
    found, why = judged(column, values, Settings())
    assert found in ("", *heading_entries())
    assert bool(why) == (found != column)


@given(headings=st.lists(TEXTS, max_size=5), values=st.lists(TEXTS, max_size=3))
@settings(max_examples=80, deadline=None)
def test_each_column_is_filled_by_one_heading(headings, values):
    found = match_headings(headings, Settings(), lambda _: values)
    assert len(found.all) == len(headings)
    assert len(set(found.columns)) == len(found.columns)


@given(values=st.lists(TEXTS, max_size=4), fact=st.sampled_from(EAR_FACTS))
@settings(max_examples=60, deadline=None)
def test_what_the_clinic_says_of_a_heading_is_not_overruled_by_content(values, fact):
    own = settings_from_toml(f'[columns]\n"Booked for" = "{fact}_left"')
    assert match_headings(["Booked for"], own, lambda _: values).columns == [f"{fact}_left"]


FILES = (
    "",
    "# mine\n[export]\nday_first = true\n",
    '[columns]\n"Room" = "ignore"\n\n[words.grade]\n"bunged" = "fully_occluding"\n',
    '[words]\ngrade = { "bunged" = "clear" }\n',
    'columns = { "Room" = "ignore" }',
)


@given(
    toml=st.sampled_from(FILES),
    texts=st.lists(TEXTS, max_size=4, unique=True),
    part=st.sampled_from(["columns", "words.grade"]),
)
@settings(max_examples=100, deadline=None)
def test_open_questions_change_nothing_that_holds_and_go_without_a_trace(toml, texts, part):
    value = "ignore" if part == "columns" else "clear"
    asked = {part: ("remark", tuple(f"{MARK}{_quoted(text)} = {_quoted(value)}" for text in texts))}
    written = with_questions(toml, asked)
    before, after = tomllib.loads(toml), tomllib.loads(written)
    assert {name: each for name, each in after.items() if each} == before or after == before | {"words": {"grade": {}}}
    assert with_questions(written, asked) == written
    assert with_questions(written, {}).strip() == toml.strip()
    if texts and toml == "":
        held = tomllib.loads(written.replace(f'{MARK}"', '"'))
        assert (held["columns"] if part == "columns" else held["words"]["grade"]) == dict.fromkeys(texts, value)
