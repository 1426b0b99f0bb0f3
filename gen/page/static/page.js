// What the browser does by itself: a slider moves with its field, undo, and saying that the program is gone.
"use strict";

// A slider and the number beside it are one value: data-with names the other.
document.addEventListener("input", (event) => {
  const other = event.target.dataset && document.getElementById(event.target.dataset.with || "");
  if (!other) return;
  if (other.type === "range" && Number(event.target.value) > Number(other.max)) other.max = event.target.value;
  other.value = event.target.value;
}, true);

// What a folded table says of its values is of the file, and goes as soon as one is changed.
document.addEventListener("input", (event) => {
  const table = event.target.closest("details"), gist = table && table.querySelector("summary .gist");
  if (gist) gist.textContent = "";
}, true);

// On paper every table of the form is unfolded.
let folded = [];
window.addEventListener("beforeprint", () => {
  folded = [...document.querySelectorAll("#machine details:not([open])")];
  for (const each of folded) each.open = true;
});
window.addEventListener("afterprint", () => { for (const each of folded) each.open = false; });

// Undo: the values of the form before each change that was let go of, newest last.
const taken = new WeakMap();
function values(form) {
  return [...form.elements].filter((each) => each.name && !["hidden", "submit", "button", "fieldset"].includes(each.type))
    .map((each) => [each.name, each.type === "checkbox" ? each.checked : each.value]);
}
function remember(form) {
  if (!taken.has(form)) taken.set(form, {past: [], now: values(form)});
  return taken.get(form);
}
function mark(form) {
  const button = form.querySelector("[data-undo-button]");
  if (button) button.disabled = remember(form).past.length === 0;
}
document.addEventListener("focusin", (event) => {
  const form = event.target.closest && event.target.closest("form[data-undo]");
  if (form) remember(form);
});
document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-undo]");
  if (!form) return;
  const kept = remember(form);
  const now = values(form);
  if (JSON.stringify(now) === JSON.stringify(kept.now)) return;
  kept.past.push(kept.now);
  if (kept.past.length > 200) kept.past.shift();
  kept.now = now;
  mark(form);
});
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-undo-button]");
  if (!button) return;
  const form = button.closest("form");
  const kept = remember(form);
  const before = kept.past.pop();
  if (!before) return;
  for (const [name, value] of before) {
    const each = form.elements[name];
    if (!each) continue;
    if (each.type === "checkbox") each.checked = value; else each.value = value;
    const slider = document.getElementById(each.dataset.with || "");
    if (slider) slider.value = value;
  }
  kept.now = before;
  mark(form);
  form.dispatchEvent(new Event("input", {bubbles: true}));
});

// The number pad types into the field that it names.
document.addEventListener("click", (event) => {
  const key = event.target.closest("[data-key]");
  if (!key) return;
  const into = document.getElementById(key.dataset.into);
  if (key.dataset.key === "back") into.value = into.value.slice(0, -1);
  else if (key.dataset.key === "sign") into.value = into.value.startsWith("-") ? into.value.slice(1) : `-${into.value}`;
  else into.value += key.dataset.key;
});

// An error below a field makes the field known as wrong.
document.addEventListener("htmx:afterSettle", () => {
  for (const slot of document.querySelectorAll("[data-error-of]")) {
    const wrong = document.getElementById(slot.dataset.errorOf);
    if (!wrong) continue;
    if (slot.textContent.trim()) wrong.setAttribute("aria-invalid", "true"); else wrong.removeAttribute("aria-invalid");
    const folded = wrong.closest("details:not([open])");
    if (folded && slot.textContent.trim()) folded.open = true;
  }
});
// A stream rests while its tab is hidden, since a browser keeps six connections to one server over all tabs. Shown again, it
// is opened anew and brings everything.
const streams = new Set();
class Stream {
  constructor(url) { this.url = url; this.heard = []; this.onopen = null; this.onerror = null; streams.add(this); this.wake(); }
  get readyState() { return this.source ? this.source.readyState : EventSource.CONNECTING; }
  addEventListener(name, tell) { this.heard.push([name, tell]); if (this.source) this.source.addEventListener(name, tell); }
  removeEventListener(name, tell) {
    this.heard = this.heard.filter(([each, told]) => each !== name || told !== tell);
    if (this.source) this.source.removeEventListener(name, tell);
  }
  wake() {
    if (this.source || document.hidden) return;
    this.source = new EventSource(this.url);
    this.source.onopen = (event) => { if (this.onopen) this.onopen(event); };
    this.source.onerror = (event) => { if (this.onerror) this.onerror(event); };
    for (const [name, tell] of this.heard) this.source.addEventListener(name, tell);
  }
  rest() { if (this.source) this.source.close(); this.source = null; }
  close() { this.rest(); streams.delete(this); }
}
htmx.createEventSource = (url) => new Stream(url);
document.addEventListener("visibilitychange", () => {
  for (const stream of streams) if (document.hidden) stream.rest(); else stream.wake();
});
window.addEventListener("pagehide", () => { for (const stream of streams) stream.rest(); });
window.addEventListener("pageshow", () => { for (const stream of streams) stream.wake(); });

document.addEventListener("htmx:sseError", () => { document.getElementById("gone").hidden = false; });
document.addEventListener("htmx:sseOpen", () => { document.getElementById("gone").hidden = true; });
document.addEventListener("htmx:sendError", () => { document.getElementById("gone").hidden = false; });
document.addEventListener("htmx:afterOnLoad", () => { document.getElementById("gone").hidden = true; });

// A verdict of other values than those in the form is faint until the new one comes.
document.addEventListener("input", (event) => {
  const verdict = document.getElementById("verdict");
  if (verdict && event.target.closest("#schedule") || event.target.id === "schedule") verdict.classList.add("stale");
});
