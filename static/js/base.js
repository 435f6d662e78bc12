/* Argentry on every page: notices, lost connections, questions before a step, and guards against sending twice.
   Every page works without this file; nothing here decides anything that the server does not decide again. */

const $ = (selector, within = document) => within.querySelector(selector);
const $$ = (selector, within = document) => [...within.querySelectorAll(selector)];

/* ---- Notices: one plain sentence in the live region ---- */

const icon = (name) => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  const sprite = $("svg.icon use")?.getAttribute("href")?.split("#")[0] ?? "/static/img/icons.svg";
  svg.setAttribute("class", "icon");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `${sprite}#${name}`);
  svg.append(use);
  return svg;
};

const button = (word, name) => {
  const made = document.createElement("button");
  made.className = "btn";
  made.append(icon(name), word);
  return made;
};

const csrfToken = () => JSON.parse(document.body.getAttribute("hx-headers") ?? "{}")["X-CSRFToken"] ?? "";

const undoForm = (url) => {
  const form = document.createElement("form");
  const token = document.createElement("input");
  form.method = "post";
  form.action = url;
  token.type = "hidden";
  token.name = "csrfmiddlewaretoken";
  token.value = csrfToken();
  form.append(token, button("Undo", "undo"));
  return form;
};

/** Show a sentence; `kind` is "success" or "error", the same `key` replaces what it said before. */
export const notify = (text, { kind = "success", undo = "", key = "" } = {}) => {
  const toasts = $("#toasts");
  if (!toasts) return;
  const bar = document.createElement("div");
  const words = document.createElement("p");
  const close = button("", "close");
  bar.className = `notice notice-${kind}`;
  bar.dataset.key = key;
  words.textContent = text;
  close.type = "button";
  close.classList.add("btn-icon");
  close.setAttribute("aria-label", "Close this notice");
  close.addEventListener("click", () => bar.remove());
  bar.append(icon(kind === "error" ? "error" : "tick"), words);
  if (undo) bar.append(undoForm(undo));
  bar.append(close);
  if (key) dismiss(key);
  toasts.append(bar);
  while (toasts.children.length > 3) toasts.firstElementChild.remove();
  if (kind === "success" && !undo) setTimeout(() => bar.remove(), 8000);
};

const dismiss = (key) => $$("#toasts .notice").filter((bar) => bar.dataset.key === key).forEach((bar) => bar.remove());

document.addEventListener("notice", (event) => notify(event.detail.text ?? event.detail.value, { undo: event.detail.undo }));

/* ---- Lost connections: what was typed stays, and what may be sent again is sent again ---- */

const waiting = new Set();
let wait = 4000;
let timer = 0;

const sendAgain = () => {
  clearTimeout(timer);
  const due = [...waiting].filter((element) => element.isConnected);
  waiting.clear();
  due.forEach((element) => element.dispatchEvent(new Event("retry")));
};

const later = (element) => {
  waiting.add(element);
  clearTimeout(timer);
  timer = setTimeout(sendAgain, wait);
  wait = Math.min(wait * 2, 60000);
};

const showConnection = () => { const bar = $("#connection"); if (bar) bar.hidden = navigator.onLine; };
addEventListener("offline", showConnection);
addEventListener("online", () => { showConnection(); wait = 4000; sendAgain(); });
showConnection();

const lost = (event) => {
  const element = event.detail.elt;
  const again = element.matches("[data-retry]");
  if (again) later(element);
  if (element.matches("[data-quiet]")) return; // it only asked whether something is ready
  notify(again ? "Not saved: no connection. Trying again by itself." : "Not saved: no connection. What you entered is still here; send it once more.",
    { kind: "error", key: "connection" });
};
document.addEventListener("htmx:sendError", lost);
document.addEventListener("htmx:timeout", lost);

const SENTENCES = {
  400: "Not saved: the site could not read what was sent. Load the page again.",
  403: "Not saved: you may have been signed out. Load the page again; copy what you typed first.",
  404: "This is no longer here, or no longer shared with you.",
  413: "Not saved: that was too large to send.",
  429: "That was too often. Wait a minute, then try again.",
};
document.addEventListener("htmx:responseError", (event) => {
  const { status } = event.detail.xhr;
  if (status === 429 || status === 502 || status === 503 || status === 504) {
    if (event.detail.elt.matches("[data-retry]")) later(event.detail.elt);
  }
  if (event.detail.elt.matches("[data-quiet]")) return;
  notify(SENTENCES[status] ?? "Not saved: something broke on the site. What you entered is still here; try again in a minute.",
    { kind: "error", key: "connection" });
});
document.addEventListener("htmx:afterOnLoad", (event) => {
  if (event.detail.xhr.status < 400) { wait = 4000; dismiss("connection"); }
});

/* ---- A form goes out once; its button is free again after an answer, or when the page is come back to ---- */

const submitters = (form) => $$("button:not([type=button]), input[type=submit]", form).filter((each) => !each.disabled);
const held = new Map();

const release = (form) => {
  (held.get(form) ?? []).forEach((each) => { each.disabled = false; each.removeAttribute("aria-busy"); });
  held.delete(form);
};

const hold = (form) => setTimeout(() => {
  if (held.has(form)) return;
  const buttons = submitters(form);
  buttons.forEach((each) => { each.disabled = true; each.setAttribute("aria-busy", "true"); });
  held.set(form, buttons);
  setTimeout(() => release(form), 20000);
});

addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented && !form.matches("[hx-post], [hx-put], [hx-patch], [hx-delete]")) return;
  if (form.method !== "post" || form.matches("[data-no-guard]")) return;
  if (held.has(form)) { event.preventDefault(); event.stopImmediatePropagation(); return; }
  changed.delete(form);
  hold(form);
});
document.addEventListener("htmx:afterRequest", (event) => { const form = event.detail.elt.closest?.("form"); if (form) release(form); });
addEventListener("pageshow", (event) => { if (event.persisted) [...held.keys()].forEach(release); });

/* ---- Unsaved work: forms marked data-guard-unsaved ask before the page is left ---- */

const changed = new Set();
document.addEventListener("input", (event) => { const form = event.target.form; if (form?.matches("[data-guard-unsaved]")) changed.add(form); });
addEventListener("beforeunload", (event) => { if ([...changed].some((form) => form.isConnected)) event.preventDefault(); });

/* ---- Questions: data-confirm="sentence" ---- */

const ask = (sentence) => new Promise((answer) => {
  const dialog = $("#confirm");
  if (!dialog?.showModal) { answer(confirm(sentence)); return; }
  $("#confirm-words").textContent = sentence;
  dialog.returnValue = "no";
  dialog.addEventListener("close", () => answer(dialog.returnValue === "yes"), { once: true });
  dialog.showModal();
});

const answered = new WeakSet();
const question = (element) => element?.dataset?.confirm;

addEventListener("submit", async (event) => {
  const form = event.target;
  const sentence = question(event.submitter) ?? question(form);
  if (!sentence || answered.delete(form)) return;
  const { submitter } = event;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (await ask(sentence)) { answered.add(form); form.requestSubmit(submitter); }
}, true);

document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[data-confirm]:not([hx-get], [hx-post])");
  if (!link) return;
  event.preventDefault();
  if (await ask(question(link))) location.assign(link.href);
});

document.addEventListener("htmx:confirm", async (event) => {
  const element = event.detail.elt;
  if (element.matches("form") || !question(element)) return;
  event.preventDefault();
  if (await ask(question(element))) event.detail.issueRequest(true);
});

/* ---- After a swap: errors get the focus, new pieces get their small helps ---- */

document.addEventListener("htmx:afterSettle", (event) => {
  const within = event.detail.elt;
  $(".form-errors", within.isConnected ? within : document)?.focus();
  enhance(document);
});
$("main .form-errors")?.focus();

const day = (back) => {
  const date = new Date();
  date.setDate(date.getDate() - back);
  return [date.getFullYear(), date.getMonth() + 1, date.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
};

document.addEventListener("click", async (event) => {
  const pressed = event.target.closest?.("[data-set-date], [data-copy], [data-copy-text]");
  if (!pressed) return;
  if (pressed.dataset.setDate) {
    const field = document.getElementById(pressed.dataset.for);
    field.value = day(Number(pressed.dataset.setDate));
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new Event("change", { bubbles: true }));
    return;
  }
  const source = pressed.dataset.copy && $(pressed.dataset.copy);
  try {
    await navigator.clipboard.writeText(pressed.dataset.copyText ?? source.value ?? source.textContent.trim());
    notify("Copied.", { key: "copy" });
  } catch {
    notify("This browser did not allow copying. Select the text and copy it by hand.", { kind: "error", key: "copy" });
  }
});

const enhance = (within) => {
  $$("[data-set-date][hidden], [data-copy][hidden], [data-copy-text][hidden]", within).forEach((each) => { each.hidden = false; });
  if (matchMedia("(min-width: 48rem)").matches) $$("details[data-open-wide]:not([data-seen])", within).forEach((each) => { each.open = true; });
  $$("details[data-open-wide]", within).forEach((each) => { each.dataset.seen = ""; });
};
enhance(document);

/* ---- The More menu closes on Escape, on a press elsewhere, and when the focus has left it ---- */

const closeMenus = (except) => $$("details[data-menu][open]").filter((menu) => menu !== except).forEach((menu) => { menu.open = false; });
document.addEventListener("click", (event) => closeMenus(event.target.closest?.("details[data-menu]")));
document.addEventListener("focusin", (event) => closeMenus(event.target.closest?.("details[data-menu]")));
document.addEventListener("keydown", (event) => {
  const menu = event.key === "Escape" && $("details[data-menu][open]");
  if (menu) { menu.open = false; $("summary", menu).focus(); }
});

/* ---- On paper the folded tables are shown ---- */

addEventListener("beforeprint", () => $$("main details:not([open])").forEach((each) => { each.open = true; each.dataset.printed = ""; }));
addEventListener("afterprint", () => $$("details[data-printed]").forEach((each) => { each.open = false; delete each.dataset.printed; }));
