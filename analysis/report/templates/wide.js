"use strict";
// Where there is room, charts made for a phone are laid out anew: the labels of rows beside their marks, small charts in two columns.
const wide = (() => {
  const lineHeight = 17, inset = 16, between = 0.1;
  const onScreen = { row: 27, heading: 30, panelLess: 0 }, onPaper = { row: 23, heading: 26, panelLess: 14 };
  const pen = document.createElement("canvas").getContext("2d");
  const spelled = (text) => { // markup and line breaks out, so that a label is measured and broken as it is read
    const holder = document.createElement("textarea");
    holder.innerHTML = text.replace(/-<br>/g, "-").replace(/<br>/g, " ").replace(/<[^>]*>/g, "");
    return holder.value;
  };
  const escaped = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
  const measured = (text, family) => {
    pen.font = `14px ${family}`;
    return pen.measureText(text).width;
  };

  function broken(text, family, most) { // as few lines as hold the words
    const lines = [""];
    for (const word of spelled(text).split(" ")) {
      const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
      if (measured(longer, family) <= most) lines[lines.length - 1] = longer;
      else lines.push(word);
    }
    return lines.filter((line) => line);
  }

  function rows(figure, width, room) {
    const layout = figure.layout, family = layout.template.layout.font.family;
    const places = new Set(figure.data.map((trace) => trace.y[0]));
    const words = layout.annotations.filter((each) => places.has(each.y));
    const labels = words.filter((each) => each.xanchor === "left"), figures = words.filter((each) => each.xanchor === "right");
    const headings = layout.annotations.filter((each) => !places.has(each.y));
    const widest = (some) => Math.max(0, ...some.map((each) => measured(spelled(each.text), family)));
    const left = Math.min(widest(labels), 0.42 * width) + inset, right = Math.min(widest(figures), 0.4 * width) + inset;
    const moved = new Map();
    let down = 0;
    for (const each of [...headings, ...labels].sort((one, other) => one.y - other.y)) {
      const was = each.y;
      if (headings.includes(each)) {
        each.text = `<b>${escaped(spelled(each.text))}</b>`;
        down += room.heading;
        Object.assign(each, { y: down, xshift: -left });
        continue;
      }
      const lines = broken(each.text, family, left - inset + 1);
      const high = room.row + lineHeight * (lines.length - 1);
      moved.set(was, down + high / 2);
      down += high;
      Object.assign(each, { text: lines.map(escaped).join("<br>"), y: moved.get(was), xshift: -left, yanchor: "middle", yshift: 0 });
    }
    const guide = { type: "line", xref: "paper", x0: 0, x1: 1, layer: "below", line: { width: 1, color: layout.template.layout.yaxis.gridcolor } };
    for (const each of figures) Object.assign(each, { y: moved.get(each.y), xshift: right, yanchor: "middle", yshift: 0 });
    for (const trace of figure.data) trace.y = [moved.get(trace.y[0])];
    for (const shape of layout.shapes || []) {
      const middle = (shape.y0 + shape.y1) / 2;
      const nearest = [...moved.keys()].sort((one, other) => Math.abs(one - middle) - Math.abs(other - middle))[0];
      const shift = moved.get(nearest) - nearest;
      Object.assign(shape, { y0: shape.y0 + shift, y1: shape.y1 + shift });
    }
    layout.shapes = [...[...moved.values()].map((at) => ({ ...guide, y0: at, y1: at })), ...(layout.shapes || [])]; // leads the eye
    layout.xaxis.nticks = Math.max(3, Math.min(7, Math.floor((width - left - right) / 55)));
    layout.yaxis.range = [down, 0];
    layout.height = down + layout.margin.b;
    layout.margin = { ...layout.margin, l: left, r: right };
  }

  function retitled(title, family, most) { // its name broken where a column is too narrow for it; gives how many lines that takes
    const parts = title.text.split("<br>"), said = parts.pop();
    const lines = broken(parts.join(" "), family, most);
    title.text = [...lines.map(escaped), said].join("<br>");
    return lines.length;
  }

  function columns(figure, width, room) {
    const layout = figure.layout, axes = Object.keys(layout).filter((name) => /^yaxis\d*$/.test(name));
    const drawn = layout.height - layout.margin.t - layout.margin.b, side = (1 - between) / 2;
    const titles = layout.annotations.filter((each) => each.xref === "paper");
    const most = side * width - 2 * inset, plot = (layout.yaxis.domain[1] - layout.yaxis.domain[0]) * drawn - room.panelLess;
    const heading = (1 - layout.yaxis.domain[1]) * drawn - lineHeight * (titles[0].text.split("<br>").length - 2);
    const lines = titles.map((each) => retitled(each, layout.template.layout.font.family, most));
    const tops = [];
    let down = 0;
    for (let row = 0; row < axes.length; row += 2) {
      tops.push(down + heading + lineHeight * (Math.max(...lines.slice(row, row + 2)) - 1));
      down = tops.at(-1) + plot;
    }
    axes.forEach((name, place) => {
      const top = tops[Math.floor(place / 2)], onRight = place % 2 === 1, upper = 1 - top / down;
      layout[name].domain = [Math.max(0, 1 - (top + plot) / down), upper];
      layout[name].anchor = onRight ? "x2" : "x";
      Object.assign(titles[place], { y: upper, x: onRight ? side + between : 0 });
    });
    for (const trace of figure.data) {
      if (layout[(trace.yaxis || "y").replace("y", "yaxis")].anchor === "x2") trace.xaxis = "x2";
    }
    const last = (place) => axes[place].replace("yaxis", "y");
    const even = axes.length % 2 === 0 ? axes.length : axes.length - 1;
    layout.xaxis2 = { ...layout.xaxis, anchor: last(even - 1), domain: [side + between, 1], matches: "x" };
    Object.assign(layout.xaxis, { anchor: last(even === axes.length ? even - 2 : axes.length - 1), domain: [0, side] });
    for (const mark of layout.shapes || []) mark.xref = layout[mark.yref.replace(" domain", "").replace("y", "yaxis")].anchor;
    const changes = layout.annotations.filter((each) => each.xref === "x"); // a declared change is named above both columns
    layout.annotations = [...layout.annotations, ...changes.map((each) => ({ ...each, xref: "x2" }))];
    layout.height = layout.margin.t + layout.margin.b + down;
  }

  return (figure, width, { paper }) => {
    const axis = figure.layout.yaxis, room = paper ? onPaper : onScreen;
    const ofRows = axis.showticklabels === false && (figure.layout.annotations || []).length >= 2;
    if (ofRows && figure.data.every((trace) => trace.y && trace.y.length === 1)) rows(figure, width, room);
    else if (figure.layout.yaxis4 && axis.domain) columns(figure, width, room);
  };
})();
