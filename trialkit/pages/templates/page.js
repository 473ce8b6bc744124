"use strict";
// Helps where a pointer or a keyboard is; the page is whole without it. Texts are only ever set as text.

// Sorting a table by a column: upwards, downwards, as it was.
const VULGAR = { "¼": 0.25, "½": 0.5, "¾": 0.75 };
const NUMBER = /([-−]?)(\d+(?:\.\d+)?)?([¼½¾])?/g;

function number(text) {
  for (const [, sign, digits, part] of text.matchAll(NUMBER)) {
    if (digits || part) return (sign ? -1 : 1) * (Number(digits || 0) + (VULGAR[part] || 0));
  }
  return NaN;
}

// Rows in the order of a column; cells without a number stand last, whichever way.
function ordered(rows, at, isNumber, turn) {
  const keyed = rows.map((row) => [row.cells[at].textContent.trim(), row]);
  if (!isNumber) return keyed.sort(([a], [b]) => turn * a.localeCompare(b, "en", { numeric: true }));
  const known = keyed.filter(([text]) => !Number.isNaN(number(text)));
  const unknown = keyed.filter(([text]) => Number.isNaN(number(text)));
  return [...known.sort(([a], [b]) => turn * (number(a) - number(b))), ...unknown];
}

function sortable(table) {
  const body = table.tBodies[0];
  const asWritten = [...body.rows];
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, at) => {
    if (head.tagName !== "TH") return;
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const next = { ascending: "descending", descending: null }[head.getAttribute("aria-sort")];
      const order = next === undefined ? "ascending" : next;
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      if (order) head.setAttribute("aria-sort", order);
      const isNumber = head.classList.contains("number");
      const turn = order === "ascending" ? 1 : -1;
      body.append(...(order ? ordered(asWritten, at, isNumber, turn).map(([, row]) => row) : asWritten));
    });
  });
}

// The buckets behind a mean: a row of the drawing is a button, one stop for the tab key, arrows between the rows.
function probed(figure) {
  const frame = figure.querySelector(".drawing-frame");
  const said = figure.querySelector(".probe-words");
  const dots = [...frame.querySelectorAll("svg")].map((svg) => [
    svg.viewBox.baseVal.height,
    svg.closest(".narrow") ? "narrow" : "wide",
    [...svg.querySelectorAll("use.f-raw")],
  ]);
  const bar = document.createElement("div");
  bar.className = "probe-rows";
  bar.setAttribute("role", "toolbar");
  bar.setAttribute("aria-orientation", "vertical");
  bar.setAttribute("aria-label", "Rows of the picture");
  const items = [...figure.querySelectorAll(".probes li")];
  const buttons = items.map((item, at) => {
    const button = document.createElement("button");
    button.type = "button";
    button.tabIndex = at ? -1 : 0;
    button.append(item.querySelector("b").cloneNode(true)); // its name, in the measures that are shown
    for (const [height, kind] of dots) {
      const [top, tall] = item.dataset[kind].split(" ").map(Number);
      button.style.setProperty(`--${kind}-top`, `${(100 * top) / height}%`);
      button.style.setProperty(`--${kind}-height`, `${(100 * tall) / height}%`);
    }
    const show = () => {
      said.replaceChildren(...[...item.childNodes].map((node) => node.cloneNode(true)));
      for (const [, kind, all] of dots) {
        const [top, tall] = item.dataset[kind].split(" ").map(Number);
        for (const dot of all) {
          const y = Number(dot.getAttribute("y"));
          dot.classList.toggle("lit", y >= top && y < top + tall);
        }
      }
      buttons.forEach((other) => other.classList.toggle("shown", other === button));
    };
    button.addEventListener("pointerenter", show);
    button.addEventListener("focus", show);
    button.addEventListener("click", show);
    return button;
  });
  bar.addEventListener("keydown", (event) => {
    const at = buttons.indexOf(document.activeElement);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: buttons.length - 1 }[event.key];
    if (to === undefined || !buttons[to]) return;
    event.preventDefault();
    buttons[at].tabIndex = -1;
    buttons[to].tabIndex = 0;
    buttons[to].focus();
  });
  bar.append(...buttons);
  frame.append(bar);
  said.hidden = false;
}

document.querySelectorAll("table[data-sortable]").forEach(sortable);
document.querySelectorAll("figure:has(.probes)").forEach(probed);
