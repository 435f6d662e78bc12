/* The mentor's photos: zoom and place are kept in step for the same view of all animals, and arrows and boxes are drawn
   by hand. Without this file the photos stand whole, and a drawing is given in percent. */

const viewer = document.querySelector("[data-viewer]");
const NS = "http://www.w3.org/2000/svg";
const state = { scale: 1, x: 0, y: 0 }; // x, y: the part of the photo in the frame's corner, as fractions of its size
const frames = () => [...viewer.querySelectorAll("[data-frame]")];

const show = () => {
  const most = 1 - 1 / state.scale;
  state.x = Math.min(Math.max(state.x, 0), most);
  state.y = Math.min(Math.max(state.y, 0), most);
  for (const frame of frames()) {
    const layer = frame.querySelector("[data-layer]");
    layer.style.transform = `scale(${state.scale}) translate(${-state.x * 100}%, ${-state.y * 100}%)`;
    frame.classList.toggle("is-zoomed", state.scale > 1);
  }
};

const zoomTo = (scale, fx = 0.5, fy = 0.5) => {
  const next = Math.min(Math.max(scale, 1), 8);
  state.x += fx / state.scale - fx / next;
  state.y += fy / state.scale - fy / next;
  state.scale = next;
  show();
};

const within = (frame, event) => {
  const box = frame.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
};
const onPhoto = (frame, event) => {
  const [fx, fy] = within(frame, event);
  const clip = (part) => Math.min(Math.max(part, 0), 1);
  return [clip(state.x + fx / state.scale), clip(state.y + fy / state.scale)];
};

const drawer = (frame) => {
  const figure = frame.closest(".reviewing-photo");
  const details = figure?.querySelector("[data-draw]");
  const mine = figure && figure.querySelector("[data-frame]") === frame;
  return mine && details?.open ? details.querySelector("form") : null;
};

const preview = (frame, form, from, to) => {
  const svg = frame.querySelector("[data-drawn]");
  const { width, height } = svg.viewBox.baseVal;
  svg.querySelector("[data-preview]")?.remove();
  const box = form.elements.shape.value === "box";
  const shape = document.createElementNS(NS, box ? "rect" : "line");
  shape.setAttribute("class", "drawn-line");
  shape.setAttribute("data-preview", "");
  const [x1, y1, x2, y2] = [from[0] * width, from[1] * height, to[0] * width, to[1] * height];
  const set = box
    ? { x: Math.min(x1, x2), y: Math.min(y1, y2), width: Math.abs(x2 - x1), height: Math.abs(y2 - y1) }
    : { x1, y1, x2, y2 };
  for (const [name, value] of Object.entries(set)) shape.setAttribute(name, value);
  svg.append(shape);
  for (const [name, value] of Object.entries({ x1: from[0], y1: from[1], x2: to[0], y2: to[1] })) {
    form.elements[name].value = (value * 100).toFixed(1);
  }
};

const pointers = new Map();
let drawing = null;
let pinched = null;

const down = (event) => {
  const frame = event.target.closest?.("[data-frame]");
  if (!frame || event.button > 0) return;
  const form = drawer(frame);
  if (form && pointers.size === 0) {
    event.preventDefault();
    frame.setPointerCapture(event.pointerId);
    drawing = { frame, form, from: onPhoto(frame, event) };
    return;
  }
  pointers.set(event.pointerId, { frame, x: event.clientX, y: event.clientY });
  if (state.scale > 1 || pointers.size > 1) frame.setPointerCapture(event.pointerId);
};

const move = (event) => {
  if (drawing) return preview(drawing.frame, drawing.form, drawing.from, onPhoto(drawing.frame, event));
  const last = pointers.get(event.pointerId);
  if (!last) return undefined;
  const box = last.frame.getBoundingClientRect();
  if (pointers.size === 2) {
    const [one, other] = [...pointers.values()];
    const apart = Math.hypot(one.x - other.x, one.y - other.y);
    if (pinched) {
      const [fx, fy] = within(last.frame, { clientX: (one.x + other.x) / 2, clientY: (one.y + other.y) / 2 });
      zoomTo(state.scale * (apart / pinched), fx, fy);
    }
    pinched = apart;
  } else if (state.scale > 1) {
    state.x -= (event.clientX - last.x) / box.width / state.scale;
    state.y -= (event.clientY - last.y) / box.height / state.scale;
    show();
  }
  Object.assign(last, { x: event.clientX, y: event.clientY });
  return undefined;
};

const up = (event) => {
  if (drawing) {
    drawing.form.elements.words.focus({ preventScroll: true });
    drawing = null;
  }
  pointers.delete(event.pointerId);
  pinched = null;
};

if (viewer) {
  viewer.addEventListener("pointerdown", down);
  viewer.addEventListener("pointermove", move);
  viewer.addEventListener("pointerup", up);
  viewer.addEventListener("pointercancel", up);
  viewer.addEventListener("dblclick", (event) => {
    const frame = event.target.closest("[data-frame]");
    if (frame && !drawer(frame)) zoomTo(state.scale > 1 ? 1 : 3, ...within(frame, event));
  });
  viewer.addEventListener("click", (event) => {
    const button = event.target.closest("[data-zoom]");
    if (!button) return;
    const factor = { in: 1.5, out: 1 / 1.5, fit: 0 }[button.dataset.zoom];
    zoomTo(factor ? state.scale * factor : 1);
  });
  viewer.addEventListener("toggle", () => {
    for (const frame of frames()) frame.classList.toggle("is-drawing", drawer(frame) !== null);
  }, true);
  for (const hidden of viewer.querySelectorAll("[data-zoom-buttons], [data-draw-help]")) hidden.hidden = false;
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.target.closest?.("input:not([type=radio]), textarea, select")) return;
    if (event.key === "+") zoomTo(state.scale * 1.5);
    if (event.key === "-") zoomTo(state.scale / 1.5);
  });
}

/* Advice that is not saved yet goes along when another form of the page is sent: a drawing, a wish, a word. */
const advice = document.querySelector("form[data-taken-along]");
if (advice) {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form === advice || !form.closest("main")) return;
    const typed = new FormData(advice);
    for (const name of ["advice", "opinion", "opinion_reason"]) {
      form.querySelector(`[name=kept_${name}]`)?.remove();
      const field = document.createElement("input");
      Object.assign(field, { type: "hidden", name: `kept_${name}`, value: typed.get(name) ?? "" });
      form.append(field);
    }
    addEventListener("beforeunload", (leaving) => leaving.stopImmediatePropagation(), { capture: true, once: true });
  }, true);
}
