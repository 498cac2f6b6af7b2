// Keys for lists of questions and for the live session. Every key presses a button or follows a link that is on the page.
(() => {
  "use strict";
  const say = (text) => { const p = document.getElementById("queue-say"); if (p) p.textContent = text; };
  const area = () => document.querySelector("[data-keys]");
  const items = () => [...document.querySelectorAll("#queue-list [data-question]")];

  // Letter keys can be turned off, for those who speak to their computer; this browser remembers it.
  const box = document.getElementById("letters");
  const letters = () => !box || box.checked;
  if (box) {
    document.getElementById("letters-row").hidden = false;
    try { box.checked = localStorage.getItem("letter-keys") !== "off"; } catch { /* nothing is kept */ }
    const told = () => {
      for (const d of document.querySelectorAll(".keys .letters")) d.hidden = !box.checked;
      try { localStorage.setItem("letter-keys", box.checked ? "on" : "off"); } catch { /* nothing is kept */ }
    };
    box.addEventListener("change", told);
    told();
  }

  // One question is the list's stop of Tab; arrow keys go on from it. What is picked stays picked when the list is renewed.
  let at = "";
  const picked = new Set();
  function rove() {
    const all = items();
    const stop = all.find((q) => q.id === at) || all[0];
    for (const q of all) q.tabIndex = q === stop ? 0 : -1;
    for (const p of document.querySelectorAll("[name=pick][form=merge]")) if (picked.has(p.value)) p.checked = true;
    const here = new Set([...document.querySelectorAll("[name=pick][form=merge]")].map((p) => p.value));
    for (const name of [...picked]) if (!here.has(name)) picked.delete(name);
    document.body.classList.toggle("picking", picked.size > 0);
  }
  document.addEventListener("change", (e) => {
    if (!e.target.matches("[name=pick][form=merge]")) return;
    picked[e.target.checked ? "add" : "delete"](e.target.value);
    document.body.classList.toggle("picking", picked.size > 0);
    say(picked.size === 1 ? "1 question picked" : `${picked.size} questions picked`);
  });
  document.addEventListener("focusin", (e) => {
    const q = e.target.closest && e.target.closest("#queue-list [data-question]");
    if (q && q.id !== at) { at = q.id; rove(); }
  });

  const writes = (e) => e.matches("textarea, select, input:not([type=checkbox], [type=radio])");
  document.addEventListener("keydown", (e) => {
    const t = e.target;
    if (t.dataset && t.dataset.send && e.key === "Enter" && (e.ctrlKey || e.metaKey)) {
      e.preventDefault();
      document.getElementById(t.dataset.send).click();
      return;
    }
    const keys = area();
    if (!keys || !keys.contains(t) || writes(t) || e.altKey || e.ctrlKey || e.metaKey || e.isComposing) return;
    const q = t.closest("#queue-list [data-question]");
    const key = e.key.length === 1 ? e.key.toLowerCase() : e.key;
    const step = { ArrowDown: 1, ArrowUp: -1, ...(letters() ? { j: 1, k: -1 } : {}) }[key];
    if (step && q) {
      const all = items(), to = all[all.indexOf(q) + step];
      if (to) to.focus();
    } else if (key === " " && t === q) {
      const p = q.querySelector("[name=pick]");
      if (p) p.click();
    } else if (key === "Enter" && t === q) {
      q.querySelector("[data-key=enter]").click();
    } else if (letters() && /^[a-z]$/.test(key)) {
      const one = q || document.querySelector("#live-now [data-question]");
      const to = (one && one.querySelector(`[data-key="${key}"]`)) || (q ? null : keys.querySelector(`[data-key="${key}"]`));
      if (!to) return;
      if (to.matches("textarea")) to.focus(); else to.click();
    } else {
      return;
    }
    e.preventDefault();
  });

  // Whoever worked on what is gone now goes on at the same place of the list, or at the page's main button.
  let place = 0, held = false;
  document.addEventListener("focusin", (e) => {
    held = Boolean(area() && area().contains(e.target));
    const q = e.target.closest && e.target.closest("#queue-list [data-question]");
    if (q) place = items().indexOf(q);
  });
  function lost() {
    if (!held || (document.activeElement && document.activeElement !== document.body)) return;
    const all = items();
    const to = all.find((q) => q.id === at) || all[Math.min(place, all.length - 1)] || document.querySelector("[data-keys] [data-focus]");
    if (to) to.focus({ preventScroll: false });
  }
  let now = "";
  function spoken() {
    const text = [...document.querySelectorAll("#live-now .now-text")].map((p) => p.textContent).join(" ");
    if (text !== now && text) say("Now: " + text);
    now = text;
  }
  document.addEventListener("swapped", () => { rove(); setTimeout(() => { lost(); spoken(); }, 0); });
  document.body.classList.add("scripted");
  rove();
  now = [...document.querySelectorAll("#live-now .now-text")].map((p) => p.textContent).join(" ");
})();
