// Keeps the live parts of a page fresh, and sends marked forms without leaving the page. Everything works without it.
(() => {
  "use strict";
  const note = document.getElementById("live-note");
  const say = (text) => { if (note && note.textContent !== text) note.textContent = text; };
  const byID = (root, id) => root.querySelector("#" + CSS.escape(id));

  // replace puts a fresh element in the place of the one with its id. What people are in the middle of stays:
  // the focus, what is opened, what is half typed, and whatever is marked data-keep.
  function replace(fresh) {
    const old = fresh && fresh.id && document.getElementById(fresh.id);
    if (!old) return false;
    const next = document.importNode(fresh, true);
    for (const d of old.querySelectorAll("details[id]")) {
      const same = byID(next, d.id);
      if (same) same.open = d.open;
    }
    const active = document.activeElement;
    const focused = active && active !== old && old.contains(active) ? active.id : "";
    const from = focused && "selectionStart" in active ? [active.selectionStart, active.selectionEnd] : null;
    const typed = [];
    for (const i of old.querySelectorAll("input[id], textarea[id]")) {
      if (i.type !== "hidden" && i.type !== "checkbox" && i.type !== "radio" && i.value !== i.defaultValue) typed.push([i.id, i.value]);
    }
    if (old.isEqualNode(next)) return true;
    for (const kept of old.querySelectorAll("[data-keep][id]")) {
      const same = byID(next, kept.id);
      if (same) same.replaceWith(kept);
    }
    old.replaceWith(next);
    for (const [id, value] of typed) {
      const i = document.getElementById(id);
      if (i) i.value = value;
    }
    if (focused) {
      const again = document.getElementById(focused);
      if (again) {
        again.focus({ preventScroll: true });
        if (from && again.setSelectionRange) try { again.setSelectionRange(from[0], from[1]); } catch { /* a kind without a caret */ }
      }
    }
    next.dispatchEvent(new CustomEvent("swapped", { bubbles: true }));
    return true;
  }

  // When a stream last renewed a part: the answer to a form that was sent before may be older.
  const streamed = new Map();
  function swap(html) {
    const box = document.createElement("template");
    box.innerHTML = html;
    for (const fresh of [...box.content.children]) {
      replace(fresh);
      if (fresh.id) streamed.set(fresh.id, performance.now());
    }
  }

  // follow keeps one element's parts fresh by server-sent events, and comes back when the line drops.
  const silence = 30000;
  function follow(element) {
    let source, after = "", wait = 1000, timer = 0, heard = 0, over = false;
    const hear = () => { heard = Date.now(); wait = 1000; say(""); };
    const open = () => {
      timer = 0;
      const at = new URL(element.dataset.live, location.href);
      if (after) at.searchParams.set("after", after);
      source = new EventSource(at);
      heard = Date.now();
      source.addEventListener("open", hear);
      source.addEventListener("alive", hear);
      source.addEventListener("swap", (e) => { hear(); after = e.lastEventId || after; swap(e.data); });
      source.addEventListener("ended", (e) => { over = true; source.close(); say(e.data + " This page is no longer kept fresh."); });
      source.addEventListener("error", () => {
        if (over || leaving) return;
        say("The connection is lost; trying again…");
        again();
      });
    };
    const again = () => {
      source.close();
      if (timer) return;
      timer = setTimeout(open, wait);
      wait = Math.min(wait * 2, 15000);
    };
    open();
    setInterval(() => { if (!over && !timer && Date.now() - heard > silence) again(); }, 5000);
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState !== "visible" || over) return;
      if (timer) { clearTimeout(timer); open(); } else if (Date.now() - heard > silence) again();
    });
  }

  let leaving = false;
  addEventListener("pagehide", () => { leaving = true; });
  addEventListener("pageshow", (e) => { if (e.persisted) location.reload(); });

  // A form with data-swap="ids" is sent from here, and only the parts with these ids are taken from the answer.
  document.addEventListener("submit", async (e) => {
    const f = e.target;
    if (!f.matches("form[data-swap]") || e.defaultPrevented) return;
    e.preventDefault();
    if (f.dataset.sending) return;
    f.dataset.sending = "yes";
    const sent = performance.now();
    const data = new FormData(f, e.submitter);
    try {
      const reply = await fetch(f.getAttribute("action") || location.href, {
        method: "POST", body: f.enctype === "multipart/form-data" ? data : new URLSearchParams(data),
      });
      const page = new DOMParser().parseFromString(await reply.text(), "text/html");
      const parts = f.dataset.swap.split(" ").map((id) => page.getElementById(id));
      if (!parts.some(Boolean)) {
        if (reply.ok) { location.assign(reply.url); return; }
        say(((page.querySelector("h1") || {}).textContent || "It was not taken") + ". " + ((page.querySelector("main .label") || {}).textContent || "").trim());
        return;
      }
      for (const part of parts) {
        if (part && (!reply.ok || (streamed.get(part.id) || 0) < sent)) replace(part);
      }
      replace(page.getElementById("notice"));
      if (!reply.ok) { const wrong = document.querySelector("[aria-invalid=true]"); if (wrong) wrong.focus(); }
    } catch {
      say("It was not sent: there is no connection. Try again.");
    } finally {
      delete f.dataset.sending;
    }
  });

  document.querySelectorAll("[data-live]").forEach(follow);
  // Of tags that do not fit beside each other, the one of this page is in sight.
  const here = document.querySelector(".tags [aria-current]");
  if (here) here.parentElement.parentElement.scrollLeft = here.parentElement.offsetLeft - 60;
})();
