"""How often ranges held, drawn as a small picture that reads on a phone: one row a figure, one mark a size of clinic."""

from __future__ import annotations

from html import escape

from analysis.present.theme import INK, NAMED, PAPER, QUIET, RECOMMENDED

WIDTH, LEFT, RIGHT, ROW, TOP = 390, 14, 14, 38, 62
LEAST, MOST, GOAL = 0.80, 1.0, (0.93, 0.97)
COLOURS = {300: NAMED[2], 1_000: RECOMMENDED, 10_000: NAMED[0], 100_000: NAMED[1]}
FONT = "system-ui, sans-serif"
Row = tuple[str, int, float, float | None]
NOT_TOLD = 0.5
"""Drawn for the Monte Carlo error of a single clinic, which tells nothing."""


def coverage_chart(rows: list[Row]) -> str:
    """Draw the share of 95% ranges that held, with twice its Monte Carlo error either way; 93 to 97 in 100 is shaded."""
    names = list(dict.fromkeys(name for name, *_ in rows))
    sizes = sorted({visits for _, visits, *_ in rows})
    height = TOP + ROW * len(names) + 34
    bottom = TOP + ROW * len(names)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" role="img" '
        f'font-family="{FONT}" font-size="12" fill="{INK}">',
        f"<title>How often 95% ranges held the truth, by figure and number of visits</title><desc>{_told(rows)}</desc>",
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        f'<rect x="{_x(GOAL[0]):.1f}" y="{TOP}" width="{_x(GOAL[1]) - _x(GOAL[0]):.1f}" height="{bottom - TOP}" fill="#e3ecf2"/>',
        f'<text x="{LEFT}" y="16">95% ranges that held the truth, in 100</text>',
        *(
            f'<circle cx="{LEFT + 5 + 130 * place}" cy="34" r="4" fill="{COLOURS[size]}"/>'
            f'<text x="{LEFT + 14 + 130 * place}" y="38">{size:,} visits</text>'
            for place, size in enumerate(sizes)
        ),
        *(
            f'<text x="{_x(tick):.1f}" y="{y}" fill="{QUIET}" text-anchor="middle">{100 * tick:.0f}</text>'
            for tick in (0.80, 0.85, 0.90, 0.95, 1.0)
            for y in (TOP - 6, bottom + 16)
        ),
    ]
    for place, name in enumerate(names):
        y = TOP + ROW * place
        parts.append(f'<text x="{LEFT}" y="{y + 14}">{escape(name)}</text>')
        parts.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y + 26}" y2="{y + 26}" stroke="{QUIET}" stroke-opacity="0.25"/>'
        )
        mine = [row for row in rows if row[0] == name]
        parts += [_mark(y + 26 + 5 * (at - (len(mine) - 1) / 2), row) for at, row in enumerate(mine)]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _x(share: float) -> float:
    """Place a share; what lies below the scale stands at its end."""
    return LEFT + 6 + (min(max(share, LEAST), MOST) - LEAST) / (MOST - LEAST) * (WIDTH - LEFT - RIGHT - 12)


def _mark(y: float, row: Row) -> str:
    """Draw one share with its Monte Carlo error."""
    _, visits, held, error = row
    colour = COLOURS[visits]
    reach = 2 * (NOT_TOLD if error is None else error)
    ends = _x(held - reach), _x(held + reach)
    off = (
        f'<text x="{_x(LEAST) + 8:.1f}" y="{y + 4:.1f}" fill="{colour}" stroke="{PAPER}" '
        f'stroke-width="4" paint-order="stroke">{100 * held:.0f}</text>'
        if held < LEAST
        else ""
    )
    return (
        f'<line x1="{ends[0]:.1f}" x2="{ends[1]:.1f}" y1="{y:.1f}" y2="{y:.1f}" stroke="{colour}" stroke-width="2"/>'
        f'<circle cx="{_x(held):.1f}" cy="{y:.1f}" r="4" fill="{colour}"/>{off}'
    )


def _told(rows: list[Row]) -> str:
    """Tell the picture in words."""
    return escape("; ".join(f"{name}, {visits:,} visits: {100 * held:.1f}%" for name, visits, held, _ in rows))
