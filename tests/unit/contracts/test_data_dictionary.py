"""The data dictionary says what the code says."""

from analysis import schema
from analysis.data_dictionary import PLACE, dictionary_text, write_dictionary
from analysis.result_rows import QUANTITIES


def test_the_committed_dictionary_is_the_one_the_code_writes():
    assert PLACE.read_text(encoding="utf-8") == dictionary_text(), "run: python -m analysis.data_dictionary"


def test_it_is_written_where_it_is_told(tmp_path):
    write_dictionary(tmp_path / "dictionary.md")
    assert (tmp_path / "dictionary.md").read_bytes() == dictionary_text().encode()


def test_every_column_and_every_code_with_its_label_is_in_it():
    text = dictionary_text()
    for table in schema.TABLES:
        section = text.split(f"## {table.name}\n")[1].split("\n## ")[0]
        for column in table.columns:
            line = next(line for line in section.splitlines() if line.startswith(f"| `{column.name}` |"))
            assert all(f"`{code}` {schema.CODE_LABELS[column.name][code]}" in line for code in column.codes)


def test_no_quantity_is_described_twice():
    names = [(each.section, each.name) for each in QUANTITIES]
    assert len(names) == len(set(names))
    assert all(each.keys == tuple(sorted(each.keys)) for each in QUANTITIES)
