// What the browser does by itself: a slider moves with its field, undo, and saying that the program is gone.
"use strict";

// A slider and the number beside it are one value: data-with names the other.
document.addEventListener("input", (event) => {
  const other = event.target.dataset && document.getElementById(event.target.dataset.with || "");
  if (!other) return;
  if (other.type === "range" && Number(event.target.value) > Number(other.max)) other.max = event.target.value;
  other.value = event.target.value;
}, true);

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
  into.value = key.dataset.key === "back" ? into.value.slice(0, -1) : into.value + key.dataset.key;
});

// An error below a field makes the field known as wrong.
document.addEventListener("htmx:afterSettle", () => {
  for (const slot of document.querySelectorAll("[data-error-of]")) {
    const wrong = document.getElementById(slot.dataset.errorOf);
    if (!wrong) continue;
    if (slot.textContent.trim()) wrong.setAttribute("aria-invalid", "true"); else wrong.removeAttribute("aria-invalid");
  }
});
document.addEventListener("htmx:sendError", () => { document.getElementById("gone").hidden = false; });
document.addEventListener("htmx:afterOnLoad", () => { document.getElementById("gone").hidden = true; });

// A verdict of other values than those in the form is faint until the new one comes.
document.addEventListener("input", (event) => {
  const verdict = document.getElementById("verdict");
  if (verdict && event.target.closest("#schedule") || event.target.id === "schedule") verdict.classList.add("stale");
});
