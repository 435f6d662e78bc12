/* The points sheet: plus and minus beside each field, and the arrow keys in it. The server checks and adds up. Without
   this file the fields are typed in and the sheet is saved as a whole. */

const PAUSE = 450; // several taps on one button go out as one
const waiting = new WeakMap();

const number = (text) => (text.trim() === "" ? null : Number(text.trim().replace(",", ".")));

const move = (field, direction) => {
  const size = Number(field.dataset.step);
  const most = Number(field.dataset.most);
  const now = number(field.value);
  if (Number.isNaN(now)) return;
  const empty = direction < 0 ? most : Number(field.dataset.start);
  const next = now === null ? empty : Math.round((now + direction * size) / size) * size;
  field.value = String(Math.min(most, Math.max(0, next)));
  clearTimeout(waiting.get(field));
  waiting.set(field, setTimeout(() => field.dispatchEvent(new Event("change", { bubbles: true })), PAUSE));
};

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-points]");
  if (button) move(button.parentElement.querySelector("input"), Number(button.dataset.points));
});

document.addEventListener("keydown", (event) => {
  if (!event.target.matches?.(".points-step input")) return;
  if (event.key === "ArrowUp" || event.key === "ArrowDown") {
    event.preventDefault();
    move(event.target, event.key === "ArrowUp" ? 1 : -1);
  }
  if (event.key === "Enter") { // on to the next field; the button sends the sheet
    event.preventDefault();
    const fields = [...document.querySelectorAll(".points-step input")];
    (fields[fields.indexOf(event.target) + 1] ?? document.querySelector(".points-form .btn-primary")).focus();
  }
});

document.querySelectorAll("[data-points], .points-script").forEach((each) => { each.hidden = false; });
