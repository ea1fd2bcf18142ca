"""Write ``shared/from_a_script.md``: the suite from an analyst's own script, and every question it can be asked.

``python -m tests.script_page`` writes it from the answers themselves; a test holds it
to them and runs its example.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from pathlib import Path

import analysis.answers

PAGE = Path(__file__).parents[1] / "shared" / "from_a_script.md"
HEAD = """# From a script

For analysts: the notebooks and the report ask the same functions that you can ask. After `earclinic demo demo_clinic`
(or `earclinic intake` in a folder of your own exports), save this as a file beside that folder and run it with `.venv/bin/python`:

```python
from pathlib import Path
from analysis.answers.slots import how_long_to_book
from analysis.clinic import open_clinic

clinic = open_clinic(Path("demo_clinic"))
answer = how_long_to_book(clinic)
print(answer.headline, *answer.assumptions, *answer.cautions, sep="\\n")
answer.table.to_csv("slots.csv", index=False)
figures = [(row.quantity, row.group, row.value, row.low, row.high) for row in answer.rows]
minutes = clinic.visits.groupby("booking_kind", observed=True)["minutes"].describe()
```

- `clinic.visits` and `clinic.ears` are pandas frames; what each column means is in [data_dictionary.md](data_dictionary.md),
  and so is every quantity of `answer.rows`. They hold a row a patient's visit: they stay in the clinic.
- An answer without enough behind it has `answer.answered == False` and says why; no number is hidden in it.
- How each figure is made: [methods.md](methods.md). What it is checked against: [how_we_know.md](how_we_know.md).
- To try other settings: `dataclasses.replace(clinic, settings=settings_from_toml(text))`, from `analysis.settings`.
- Every function below takes the clinic alone, unless more is named; `help()` of it says what the number means.

## Every question
"""


def questions() -> Iterator[tuple[str, str, Callable]]:
    """Give every function that answers a question: its module, its name, itself."""
    for found in sorted(pkgutil.iter_modules(analysis.answers.__path__), key=lambda each: each.name):
        module = importlib.import_module(f"analysis.answers.{found.name}")
        for name, each in vars(module).items():
            if not inspect.isfunction(each) or name.startswith("_") or each.__module__ != module.__name__:
                continue
            takes = list(inspect.signature(each).parameters)
            gives = str(inspect.signature(each).return_annotation)
            if takes[:1] == ["clinic"] and gives.startswith("Answer"):
                yield found.name, name, each


def page() -> str:
    """Write the page.

    Returns
    -------
    str
        Markdown.
    """
    rows = ["| `from analysis.answers.…` | `import …` | what it says |", "|---|---|---|"]
    for module, name, each in questions():
        more = ", ".join(taken for taken in inspect.signature(each).parameters if taken != "clinic")
        called = f"`{name}` ({more})" if more else f"`{name}`"
        told = (inspect.getdoc(each) or "").partition("\n")[0].replace("``", "`")
        rows.append(f"| `{module}` | {called} | {told} |")
    return HEAD + "\n" + "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
