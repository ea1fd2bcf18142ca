"use strict";
// Draws every chart, in the reader's colour scheme on the screen and always light and page-wide on paper.
(() => {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const dark = JSON.parse(document.getElementById("dark-colours").textContent);
  const prefersDark = window.matchMedia("(prefers-color-scheme: dark)");
  const settings = { displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: false };
  // CSS pixels: between A4's margins, what leaves room for heading and answer, and from where rows would run into each other
  const paperWidth = 650, paperHeight = 700, tallFrom = 900;
  let opened = [];

  const recoloured = (text) => text.replace(/#[0-9a-f]{6}\b/gi, (colour) => dark[colour.toLowerCase()] || colour);

  function draw(onPaper) {
    for (const [id, text] of Object.entries(figures)) {
      const figure = JSON.parse(prefersDark.matches && !onPaper ? recoloured(text) : text);
      document.getElementById(id).style.zoom = "";
      if (onPaper) {
        figure.layout.width = paperWidth;
        if (figure.layout.height > tallFrom) { // drawn larger and shrunk as a whole, words and all
          const smaller = paperHeight / figure.layout.height;
          figure.layout.width = paperWidth / smaller;
          document.getElementById(id).style.zoom = smaller;
        } else if (figure.layout.height > paperHeight) {
          figure.layout.height = paperHeight;
          const top = (figure.layout.margin || {}).t || 0;
          figure.layout.margin = { ...figure.layout.margin, t: top + 20 }; // rows stand closer, the first one's words must still fit
        }
        figure.layout.autosize = false;
      }
      Plotly.react(id, figure.data, figure.layout, settings);
    }
  }

  prefersDark.addEventListener("change", () => draw(false));
  window.addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open]):not(.many-rows)")];
    opened.forEach((each) => each.setAttribute("open", ""));
    draw(true);
  });
  window.addEventListener("afterprint", () => {
    opened.forEach((each) => each.removeAttribute("open"));
    draw(false);
  });
  draw(false);
})();
