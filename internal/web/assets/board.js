// The board's clock, its line for now, and its keys. Without it the board shows times and reads from top to bottom.
(() => {
  "use strict";
  const live = document.getElementById("board-live");
  if (!live) return;
  // The server's clock counts, not this browser's.
  const ahead = Date.parse(live.dataset.clock) - Date.now();
  const now = () => Date.now() + ahead;
  const say = (text) => { document.getElementById("board-say").textContent = text; };

  // Forms that make plans come back at once and show how the search comes along.
  function mark() {
    for (const f of document.querySelectorAll("form[data-search]")) {
      if (f.elements.live) continue;
      const field = document.createElement("input");
      field.type = "hidden"; field.name = "live"; field.value = "yes";
      f.append(field);
    }
  }

  function countdown() {
    for (const e of document.querySelectorAll("[data-until]")) {
      const left = Math.round((Date.parse(e.dataset.until) - now()) / 1000);
      const h = Math.floor(left / 3600), m = Math.floor(left / 60) % 60, s = left % 60;
      const two = (n) => String(n).padStart(2, "0");
      const text = left < 0 ? "now" : left > 86400 ? `in ${Math.round(left / 86400)} days` : h ? `in ${h}:${two(m)} h` : `in ${m}:${two(s)} min`;
      if (e.textContent !== text) e.textContent = text;
    }
    line();
  }

  const chart = () => document.querySelector("#chart-room svg.chart");
  function place(svg) {
    const opens = Date.parse(svg.dataset.opens), closes = Date.parse(svg.dataset.closes);
    const share = (now() - opens) / (closes - opens);
    return share < 0 || share > 1 ? NaN : Number(svg.dataset.left) + share * Number(svg.dataset.width);
  }
  // line moves the line for now, and draws one when the class begins while people look.
  function line() {
    const svg = chart();
    if (!svg) return;
    const x = place(svg);
    let g = svg.querySelector(".chart-now");
    if (Number.isNaN(x)) { if (g) g.remove(); return; }
    if (!g) {
      const made = (name) => document.createElementNS("http://www.w3.org/2000/svg", name);
      g = made("g");
      g.setAttribute("class", "chart-now"); g.setAttribute("role", "img"); g.setAttribute("aria-label", "Now");
      const l = made("line");
      l.setAttribute("y1", "10"); l.setAttribute("y2", svg.viewBox.baseVal.height);
      g.append(l); svg.append(g);
    }
    for (const l of g.querySelectorAll("line")) { l.setAttribute("x1", x); l.setAttribute("x2", x); }
  }

  // The names of the rows stay in sight when the chart scrolls sideways.
  function names() {
    const room = document.getElementById("chart-room"), svg = chart();
    if (!svg) return;
    const shift = room.scrollLeft * svg.viewBox.baseVal.width / svg.clientWidth;
    for (const t of svg.querySelectorAll(".chart-name, .chart-heading")) {
      t.setAttribute("transform", `translate(${shift} 0)`);
      if (t.matches(".chart-name") && t.nextSibling) t.parentNode.append(t); // over the loads
    }
  }
  function scrolled() {
    const room = document.getElementById("chart-room"), svg = chart();
    if (!svg) return;
    room.addEventListener("scroll", names, { passive: true });
    const x = place(svg);
    if (!Number.isNaN(x) && room.scrollWidth > room.clientWidth) room.scrollLeft = x * svg.clientWidth / svg.viewBox.baseVal.width - room.clientWidth / 2;
    names();
  }

  // One stop of Tab for the chart; arrow keys go from load to load.
  let last = "";
  const loads = () => [...document.querySelectorAll("#chart-room .chart-load")];
  function rove() {
    const all = loads();
    const at = all.find((l) => l.dataset.ref === last) || all[0];
    for (const l of all) l.setAttribute("tabindex", l === at ? "0" : "-1");
  }
  function words(load) {
    const p = document.getElementById("load-words");
    if (!p) return;
    p.hidden = !load;
    p.textContent = load ? load.getAttribute("aria-label") : "";
  }
  function go(to) { if (to) to.focus(); }
  const middle = (l) => { const b = l.querySelector(".chart-frame").getBBox(); return b.x + b.width / 2; };
  function other(load, step) {
    const rows = [...document.querySelectorAll("#chart-room .chart-row")].filter((r) => r.querySelector(".chart-load"));
    const row = rows[rows.indexOf(load.closest(".chart-row")) + step];
    if (!row) return null;
    const x = middle(load);
    return [...row.querySelectorAll(".chart-load")].reduce((a, b) => Math.abs(middle(b) - x) < Math.abs(middle(a) - x) ? b : a);
  }
  document.addEventListener("focusin", (e) => {
    const load = e.target.closest && e.target.closest("#chart-room .chart-load");
    if (!load) return;
    last = load.dataset.ref || "";
    rove();
    words(load);
  });
  document.addEventListener("keydown", (e) => {
    const load = e.target.closest && e.target.closest("#chart-room .chart-load");
    if (!load || e.altKey || e.ctrlKey || e.metaKey) return;
    const inRow = [...load.closest(".chart-row").querySelectorAll(".chart-load")], at = inRow.indexOf(load);
    const to = {
      ArrowRight: () => go(inRow[at + 1]), ArrowLeft: () => go(inRow[at - 1]),
      ArrowDown: () => go(other(load, 1)), ArrowUp: () => go(other(load, -1)),
      Home: () => go(inRow[0]), End: () => go(inRow[inRow.length - 1]),
      Enter: () => show(load),
    }[e.key];
    if (!to) return;
    e.preventDefault();
    to();
  });
  document.addEventListener("click", (e) => {
    const load = e.target.closest && e.target.closest("#chart-room .chart-load");
    if (load) load.focus({ preventScroll: true });
  });
  // show goes to a load's row of the table.
  function show(load) {
    const row = document.getElementById("row-" + load.dataset.ref);
    if (!row) return;
    row.tabIndex = -1;
    row.focus();
  }

  // A link to a closed part opens it.
  function opened() {
    const part = location.hash && document.getElementById(location.hash.slice(1));
    if (part && part.matches("details")) { part.open = true; part.querySelector("summary").focus(); }
  }
  addEventListener("hashchange", opened);
  opened();

  document.addEventListener("swapped", (e) => {
    if (e.target.id === "board-plan") {
      const held = document.activeElement === document.body && last;
      mark(); rove(); scrolled(); countdown();
      if (held) { const l = loads().find((l) => l.dataset.ref === last); if (l) l.focus({ preventScroll: true }); }
      const outcome = document.getElementById("plan-outcome");
      say(`Plan ${e.target.dataset.plan} is here. ${outcome ? outcome.textContent : ""}`);
    }
    if (e.target.id === "board-next") countdown();
    if (e.target.id === "board-forms") mark();
  });
  mark(); rove(); scrolled(); countdown();
  setInterval(countdown, 1000);
})();
