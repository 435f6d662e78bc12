/* The weigh screen: a row goes to the log when it is left, and Enter leads on to the next row. */

const rowOf = (target) => target.closest?.("[data-weigh-row]");
const boxes = (row) => [...row.querySelectorAll("input:not([type=hidden])")];
const typed = (row) => boxes(row).map((box) => box.value.trim()).join("|");
const sent = new WeakMap();

const leave = (row) => {
  const now = typed(row);
  if (!now.replaceAll("|", "") || sent.get(row) === now) return;
  sent.set(row, now);
  row.dispatchEvent(new Event("row-left"));
};

document.addEventListener("focusin", (event) => { const row = rowOf(event.target); if (row && !sent.has(row)) sent.set(row, typed(row)); });
document.addEventListener("focusout", (event) => {
  const row = rowOf(event.target);
  if (row && !row.contains(event.relatedTarget)) leave(row);
});

document.addEventListener("keydown", (event) => {
  const row = event.key === "Enter" && event.target.matches("input") && rowOf(event.target);
  if (!row) return;
  event.preventDefault();
  const here = boxes(row);
  const inside = here[here.indexOf(event.target) + 1];
  const next = inside ?? row.nextElementSibling?.querySelector("input") ?? row.closest("form").querySelector("button.btn-primary");
  next.focus();
});
