// Sorts and filters the rows of a collection. No library, no network.
"use strict";
(() => {
  const rows = JSON.parse(document.getElementById("rows").textContent);
  const [PIECE, TITLE, COMPOSER, KEY, LEVEL, STATUS, DIFFICULTY, BAND, TUNE, GRID, BARS,
    WARNINGS, REASON, FOLDER, ALIKE] = [...Array(15).keys()];
  const LEVELS = ["beginner", "elementary", "intermediate", "advanced"];
  const DOCUMENTS = [
    ["sheet", "sheet.html"], ["print", "sheet.pdf"], ["tab", "tab.txt"],
    ["score", "score.musicxml"], ["listen", "practice.mid"],
  ];
  const AT_ONCE = 200; // rows drawn at a time: a page of a hundred thousand stays quick
  const byId = (id) => document.getElementById(id);
  const body = byId("body");
  const headings = [...document.querySelectorAll("th button")];
  const order = { column: 0, down: false };
  let shown = rows;
  let drawn = 0;

  const words = new Map(); // what the search looks through, made when it is first asked for
  const wordsOf = (row) => {
    if (!words.has(row)) {
      const texts = [row[PIECE], row[TITLE], row[COMPOSER], row[KEY], row[REASON]];
      words.set(row, [...texts, ...row[WARNINGS], ...row[ALIKE]].join("\n").toLowerCase());
    }
    return words.get(row);
  };
  const worth = (row, column) => {
    if (column === LEVEL) return LEVELS.indexOf(row[LEVEL]);
    if (column === WARNINGS || column === ALIKE) return row[column].length;
    return row[column];
  };
  const compare = (one, other) => {
    const [a, b] = [worth(one, order.column), worth(other, order.column)];
    if (a === b) return 0;
    if (a === null || a === "") return 1; // what is not known comes last either way
    if (b === null || b === "") return -1;
    const before = typeof a === "string"
      ? a.localeCompare(b, "en", { numeric: true, sensitivity: "base" }) : a - b;
    return order.down ? -before : before;
  };

  const cell = (row, text, kind = "td") => {
    const element = document.createElement(kind);
    element.textContent = text;
    row.append(element);
    return element;
  };
  const percent = (share) => (share === null ? "" : `${Math.round(1000 * share) / 10} %`);
  const folded = (place, texts, summary) => {
    if (!texts.length) return;
    const details = document.createElement("details");
    const head = document.createElement("summary");
    head.textContent = summary;
    details.append(head, ...texts.map((text) => {
      const line = document.createElement("p");
      line.textContent = text;
      return line;
    }));
    place.append(details);
  };
  const draw = (row) => {
    const line = document.createElement("tr");
    const head = cell(line, row[TITLE] || row[PIECE], "th");
    head.scope = "row";
    if (row[TITLE]) head.append(Object.assign(document.createElement("small"), { textContent: row[PIECE] }));
    cell(line, row[COMPOSER]);
    cell(line, row[KEY]);
    cell(line, row[LEVEL]);
    const outcome = cell(line, row[REASON] ? "" : row[STATUS]);
    if (row[REASON]) folded(outcome, [row[REASON]], row[STATUS]);
    cell(line, row[DIFFICULTY] === null ? "" : row[DIFFICULTY].toFixed(0)).title = row[BAND];
    cell(line, percent(row[TUNE]));
    cell(line, percent(row[GRID]));
    cell(line, row[BARS] || "");
    folded(cell(line, ""), row[WARNINGS], row[WARNINGS].length);
    folded(cell(line, ""), row[ALIKE], row[ALIKE].length);
    const links = cell(line, "");
    if (row[FOLDER]) {
      const folder = row[FOLDER].split("/").map(encodeURIComponent).join("/");
      for (const [name, file] of DOCUMENTS) {
        const link = document.createElement("a");
        link.href = `${folder}/${file}`;
        link.textContent = name;
        link.setAttribute("aria-label", `${name} of ${row[TITLE] || row[PIECE]}, ${row[LEVEL]}`);
        links.append(link, " ");
      }
    }
    return line;
  };
  const more = () => {
    const next = shown.slice(drawn, drawn + AT_ONCE);
    body.append(...next.map(draw));
    drawn += next.length;
    byId("more").hidden = drawn >= shown.length;
    byId("count").textContent = `${shown.length} of ${rows.length} rows`
      + (drawn < shown.length ? `, the first ${drawn} below` : "");
  };
  const renew = () => {
    const sought = byId("sought").value.toLowerCase().split(/\s+/).filter(Boolean);
    const level = byId("level").value;
    const status = byId("status").value;
    const most = byId("most").value === "" ? Infinity : Number(byId("most").value);
    const alike = byId("alike").checked;
    shown = rows.filter((row) =>
      (!level || row[LEVEL] === level)
      && (!status || row[STATUS] === status)
      && (most === Infinity || (row[DIFFICULTY] !== null && row[DIFFICULTY] <= most))
      && (!alike || row[ALIKE].length > 0)
      && sought.every((word) => wordsOf(row).includes(word)));
    if (order.column !== PIECE || order.down) shown = shown.slice().sort(compare);
    for (const group of document.querySelectorAll("g[data-level]")) {
      group.toggleAttribute("hidden", level !== "" && group.dataset.level !== level);
    }
    body.replaceChildren();
    drawn = 0;
    more();
  };

  for (const button of headings) {
    button.addEventListener("click", () => {
      const column = Number(button.dataset.column);
      order.down = order.column === column && !order.down;
      order.column = column;
      for (const other of headings) {
        const sorted = other === button ? (order.down ? "descending" : "ascending") : "none";
        other.parentElement.setAttribute("aria-sort", sorted);
      }
      renew();
    });
  }
  for (const id of ["sought", "level", "status", "most", "alike"]) {
    byId(id).addEventListener("input", renew);
  }
  byId("filters").addEventListener("submit", (event) => event.preventDefault());
  byId("more").addEventListener("click", () => {
    const first = drawn;
    more();
    body.rows[first]?.querySelector("a, summary")?.focus(); // the keyboard goes on where it was
  });
  renew();
})();
