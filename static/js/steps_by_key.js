/* Grading by keys: 1 to 9 give the step of the scale at hand and go on to the next, 0 is "cannot tell", Enter goes on.
   Without this file the radios and the button do the same. */

const form = document.querySelector("[data-steps-by-key]");
const scales = () => [...form.querySelectorAll("fieldset.scale:not([disabled])")];
const answered = (scale) => scale.querySelector("input:checked") !== null;
let at = null;

const current = () => {
  const all = scales();
  const focused = document.activeElement?.closest?.("fieldset.scale");
  if (focused && !answered(focused)) return focused;
  return all.find((scale) => scale.id === at) ?? all.find((scale) => !answered(scale)) ?? all[0];
};

document.addEventListener("keydown", (event) => {
  if (!form || event.ctrlKey || event.metaKey || event.altKey || !/^[0-9]$/.test(event.key)) return;
  const scale = current();
  if (!scale) return;
  const value = event.key === "0" && !scale.querySelector('input[value="0"]') ? "cannot-tell" : event.key;
  const radio = scale.querySelector(`input[value="${value}"]`);
  if (!radio) return;
  event.preventDefault();
  radio.checked = true;
  radio.dispatchEvent(new Event("change", { bubbles: true }));
  const all = scales();
  const next = all[all.indexOf(scale) + 1];
  at = next ? next.id : null;
  (next ? next.querySelector("input:checked, input") : form.querySelector("button.btn-primary"))?.focus();
  (next ?? form.querySelector("button.btn-primary"))?.scrollIntoView({ block: "nearest" });
});
