/* The look's screens: says when each answer was given, so that a late retry never overwrites a later answer, and lets
   the server put a sentence in place of a look that is no longer open. Without this file the screens still work. */

const opened = Date.now();
const field = () => document.querySelector("[data-given]");
const serverTime = Number(field()?.value ?? opened);

document.addEventListener("change", () => {
  const given = field();
  if (given) given.value = String(serverTime + Date.now() - opened);
}, true);

document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr } = event.detail;
  if (xhr.status === 404 && xhr.getResponseHeader("HX-Retarget") === "#look") {
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  }
});
