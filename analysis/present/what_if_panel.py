"""Sliders to try other slots and prices, over a function that was given to them."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
from IPython.display import display

from analysis.present.answer import Answer

PANEL_ID = "earclinic-what-if-panel"
"""One id at every run, so that a notebook run again compares equal."""
PLAIN = "The sliders move while the notebook runs; run this cell to use them."
VIEW = "application/vnd.jupyter.widget-view+json"
MOST_PRICE = 10.0


@dataclass(frozen=True, slots=True)
class SlotSlider:
    """One category's slider: its label, the shortest and longest slot, the step and where it stands."""

    name: str
    label: str
    shortest: int
    longest: int
    step: int
    value: int


class WhatIfPanel:
    """An answer that stands without a running notebook, and sliders below it that need one.

    Parameters
    ----------
    answer : Answer
        Shown first; all that a saved page shows.
    slots : list of SlotSlider
    prices : dict of str to (str, float)
        Label and start of each price.
    gaps : sequence of int
        Patients after whom a catch-up gap may come, nought for none; the first is where the slider stands.
    tell : callable
        From slots by name, prices by name and the gaps to sentences; called at every move.
    """

    def __init__(
        self,
        answer: Answer,
        slots: list[SlotSlider],
        prices: Mapping[str, tuple[str, float]],
        gaps: Sequence[int],
        tell: Callable[[dict[str, int], dict[str, float], int], list[str]],
    ) -> None:
        self.answer = answer
        self._tell = tell
        wide = {"style": {"description_width": "60%"}, "layout": widgets.Layout(width="36em", max_width="100%")}
        self.slots = {
            each.name: widgets.IntSlider(
                each.value, min=each.shortest, max=each.longest, step=each.step, description=each.label, **wide
            )
            for each in slots
        }
        self.prices = {
            name: widgets.FloatSlider(value, min=0, max=max(MOST_PRICE, value), step=0.5, description=label, **wide)
            for name, (label, value) in prices.items()
        }
        self.gaps = widgets.SelectionSlider(
            options=[(f"after {each}" if each else "none", each) for each in sorted(gaps)],
            value=gaps[0],
            description="catch-up gap, patients",
            **wide,
        )
        self.said = widgets.HTML()
        moving = [*self.slots.values(), self.gaps, *self.prices.values()]
        for each in moving:
            each.observe(self._moved, names="value")
        self.box = widgets.VBox([*moving, self.said], model_id=PANEL_ID)
        self._moved()

    def _moved(self, _: Any = None) -> None:
        """Say anew what the slots and prices now chosen do."""
        slots = {name: each.value for name, each in self.slots.items()}
        prices = {name: each.value for name, each in self.prices.items()}
        self.said.value = "".join(f"<p>{html.escape(each)}</p>" for each in self._tell(slots, prices, self.gaps.value))

    def _ipython_display_(self) -> None:
        """Show the answer, then the sliders."""
        display(self.answer)
        view = {"version_major": 2, "version_minor": 0, "model_id": PANEL_ID}
        display({"text/plain": PLAIN, VIEW: view}, raw=True)
