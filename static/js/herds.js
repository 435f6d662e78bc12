/* Lists of animals: one button that ticks, or unticks, every row of the page. The list works without it. */

const boxes = (button) => [...button.form.querySelectorAll(`input[type=checkbox][name="${button.dataset.tickAll}"]`)];

const show = () => document.querySelectorAll("button[data-tick-all]").forEach((button) => { button.hidden = false; });

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-tick-all]");
  if (!button) return;
  const rows = boxes(button);
  const tick = rows.some((box) => !box.checked);
  rows.forEach((box) => { box.checked = tick; });
});

document.addEventListener("htmx:afterSettle", show);
show();
