// Draws every chart, in the reader's colour scheme on the screen and always light and page-wide on paper.
(() => {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const dark = JSON.parse(document.getElementById("dark-colours").textContent);
  const prefersDark = window.matchMedia("(prefers-color-scheme: dark)");
  const hasRoom = window.matchMedia("(min-width: 40rem)");
  const settings = { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false };
  // CSS pixels on A4: between the margins; what leaves no page half empty; what leaves room for a chart's title
  const paperWidth = 650, paperHeight = 345, tallest = 860;
  // On paper a chart is shrunk as a whole, its words to no less than six tenths of their size where a page can hold it so.
  const usual = 0.8, least = 0.6;
  let opened = [], printing = false;

  const recoloured = (text) => text.replace(/#[0-9a-f]{6}\b/gi, (colour) => dark[colour.toLowerCase()] || colour);

  function fitted(figure) {
    const high = figure.layout.height;
    return Math.min(Math.max(Math.min(usual, paperHeight / high), least), tallest / high);
  }

  function draw(onPaper) {
    for (const [id, text] of Object.entries(figures)) {
      const figure = JSON.parse(prefersDark.matches && !onPaper ? recoloured(text) : text);
      const place = document.getElementById(id);
      place.style.zoom = "";
      if (onPaper || hasRoom.matches) wide(figure, onPaper ? paperWidth / usual : place.clientWidth, { paper: onPaper });
      if (onPaper) {
        const zoom = fitted(figure);
        Object.assign(figure.layout, { width: paperWidth / zoom, autosize: false });
        place.style.zoom = zoom;
      }
      place.style.minHeight = `${figure.layout.height}px`;
      Plotly.react(id, figure.data, figure.layout, settings);
    }
  }

  // Paper is wider than a narrow window: drawn for the screen again then, charts would grow after the pages were counted.
  for (const query of [prefersDark, hasRoom]) query.addEventListener("change", () => printing || draw(false));
  window.addEventListener("beforeprint", () => {
    printing = true;
    opened = [...document.querySelectorAll("details:not([open]):not(.many-rows)")];
    opened.forEach((each) => each.setAttribute("open", ""));
    draw(true);
  });
  window.addEventListener("afterprint", () => {
    printing = false;
    opened.forEach((each) => each.removeAttribute("open"));
    draw(false);
  });
  draw(false);
})();
