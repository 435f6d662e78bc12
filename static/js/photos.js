/* Sends photos one by one, with how far each has come. Without this file the form sends them all at once.
   A photo that did not arrive stays in the list and is sent again: by its button, after a while, and when the
   connection is back. Its key goes with every try, so that the server stores it once. */

const $ = (selector, within) => within.querySelector(selector);
const PAUSES = [5, 10, 20, 40, 60];
const SILENCE = 60; // seconds without a sign from the site, after which a photo counts as lost on the way

const newKey = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("").replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
};

// The cookie is newer than the page when somebody signed in again in another tab.
const token = (form) => /(?:^|; )csrftoken=([^;]+)/.exec(document.cookie)?.[1] ?? form.elements.csrfmiddlewaretoken.value;

class Taking {
  constructor(whole) {
    const form = $("form", whole);
    Object.assign(this, { whole, form, list: $("[data-uploads]", whole) });
    this.rows = [];
    this.sending = null;
    $("[data-without-script]", form).hidden = true;
    form.addEventListener("submit", (event) => event.preventDefault());
    const inputs = form.querySelectorAll("[data-photos]");
    const take = (input) => {
      [...input.files].forEach((file) => this.add(file));
      input.value = "";
    };
    inputs.forEach((input) => input.addEventListener("change", () => take(input)));
    form.addEventListener("change", (event) => { if (event.target.name !== "photos") this.say(); });
    addEventListener("online", () => this.sendLost());
    addEventListener("offline", () => this.sending?.xhr.abort());
    addEventListener("beforeunload", (event) => { if (this.rows.some((row) => row.waits)) event.preventDefault(); });
    document.addEventListener("htmx:afterSettle", () => this.count());
    this.say();
    inputs.forEach(take); // chosen before this file had come over a slow line
  }

  radio(name) { return $(`input[name="${name}"]:checked`, this.form); }

  /* ---- The views: which are taken, and which is next ---- */

  count() {
    const radios = [...this.form.querySelectorAll('input[name="view"]')];
    radios.forEach((radio) => {
      const here = this.list.querySelectorAll(`[data-view="${radio.value}"]`).length;
      radio.here = Number(radio.dataset.taken) + here;
      $(".photo-done", radio.parentElement).hidden = !radio.here;
    });
    return radios;
  }

  proposeNext() {
    const next = this.count().find((radio) => !radio.here);
    if (next && this.radio("view")?.value !== "other") next.checked = true;
    this.say();
  }

  say() {
    const words = ["light", "reference"].map((name) => this.radio(name)?.parentElement.textContent.trim() ?? "");
    if (words[0] === "" || !this.radio("light")?.value) words[0] = "light not told";
    $("[data-said]", this.form).textContent = words.join(", ");
    const view = this.radio("view");
    $("[data-camera-word]", this.form).textContent = view ? `Take: ${view.dataset.word}` : "Take a photo";
    const strip = view?.closest(".choices");
    strip?.scrollTo({ left: view.parentElement.offsetLeft - strip.offsetLeft - 40 });
  }

  /* ---- One chosen file ---- */

  add(file) {
    const item = $("[data-row]", this.whole).content.firstElementChild.cloneNode(true);
    const row = { item, file, key: newKey(), tries: 0, waits: true };
    row.facts = { look: this.form.elements.look?.value ?? "", taken_on: this.form.elements.taken_on.value };
    ["light", "reference"].forEach((name) => { row.facts[name] = this.radio(name)?.value ?? ""; });
    $("[data-name]", item).textContent = file.name;
    const select = $("[data-row-view]", item);
    select.value = this.radio("view")?.value ?? "other";
    item.dataset.view = select.value;
    select.addEventListener("change", () => { item.dataset.view = select.value; this.count(); });
    $("[data-leave]", item).addEventListener("click", () => this.leave(row));
    $("[data-again]", item).addEventListener("click", () => this.queue(row));
    this.preview(row);
    this.list.prepend(item);
    this.rows.push(row);
    this.proposeNext();
    if (!file.size) this.refuse(row, "This file is empty. Take the photo again, or choose another.");
    else if (file.size > Number(this.whole.dataset.mostBytes)) this.refuse(row, this.whole.dataset.tooLarge);
    else this.queue(row);
  }

  preview(row) {
    if (!row.file.size) return;
    const image = new Image(72, 72);
    image.alt = "";
    image.onload = () => { $("[data-preview]", row.item).replaceChildren(image); URL.revokeObjectURL(image.src); row.image = image; };
    image.src = URL.createObjectURL(row.file);
  }

  state(row, words, { failed = false, share = null } = {}) {
    const place = $("[data-state]", row.item);
    const bar = $("progress", row.item);
    place.textContent = words;
    place.className = failed ? "upload-failed" : "";
    bar.hidden = share === null;
    if (share !== null) bar.value = share;
    $("[data-lost]", row.item).hidden = !row.lost;
    this.sum();
  }

  sum() {
    const of = (test) => this.rows.filter(test).length;
    const lost = of((row) => row.lost);
    const arrived = of((row) => row.stored);
    const words = [];
    if (this.rows.length) words.push(`${arrived} of ${this.rows.length} ${this.rows.length === 1 ? "photo has" : "photos have"} arrived.`);
    if (lost) words.push(`${lost} did not arrive yet.`);
    const refused = of((row) => row.refused);
    if (refused) words.push(`${refused} ${refused === 1 ? "was" : "were"} refused.`);
    const place = $("[data-sum]", this.whole);
    if (place.textContent !== words.join(" ")) place.textContent = words.join(" ");
  }

  leave(row) {
    row.waits = row.lost = false;
    clearTimeout(row.timer);
    row.xhr?.abort();
    this.rows = this.rows.filter((each) => each !== row);
    row.item.remove();
    this.count();
    this.sum();
  }

  /* ---- Sending: one at a time, so that a weak connection carries whole photos ---- */

  queue(row) {
    clearTimeout(row.timer);
    Object.assign(row, { queued: true, lost: false, waits: true });
    this.state(row, "Waits for its turn.", { share: 0 });
    this.next();
  }

  sendLost() { this.rows.filter((row) => row.lost).forEach((row) => this.queue(row)); }

  next() {
    const row = this.sending ? null : this.rows.find((each) => each.queued);
    if (row) this.send(row);
  }

  send(row) {
    const data = new FormData();
    Object.entries({ ...row.facts, view: row.item.dataset.view, client_key: row.key }).forEach(([name, value]) => data.append(name, value));
    data.append("photos", row.file, row.file.name);
    const xhr = new XMLHttpRequest();
    Object.assign(row, { queued: false, xhr });
    this.sending = row;
    $("[data-row-view]", row.item).disabled = true;
    xhr.open("POST", this.form.action);
    xhr.setRequestHeader("X-CSRFToken", token(this.form));
    const listen = () => { clearTimeout(row.timer); row.timer = setTimeout(() => xhr.abort(), SILENCE * 1000); };
    xhr.upload.addEventListener("progress", listen);
    xhr.upload.addEventListener("progress", (event) => this.state(row, "Being sent.", { share: 100 * event.loaded / event.total }));
    xhr.upload.addEventListener("load", () => this.state(row, "Sent; the site looks at it.", { share: 100 }));
    xhr.addEventListener("loadend", () => {
      clearTimeout(row.timer);
      this.sending = null;
      $("[data-row-view]", row.item).disabled = false;
      if (row.waits) this.answered(row, xhr);
      this.next();
    });
    this.state(row, "Being sent.", { share: 0 });
    listen();
    xhr.send(data);
  }

  answered(row, xhr) {
    if ((xhr.status === 200 || xhr.status === 201) && xhr.getResponseHeader("X-Photo")) this.stored(row, xhr.responseText);
    else if (xhr.status === 422) this.refuse(row, this.problem(xhr));
    else if (xhr.status === 413) this.refuse(row, this.whole.dataset.tooLarge);
    else if (xhr.status === 404) this.refuse(row, "This animal is no longer yours to photograph. Load the page again.");
    else if (xhr.status === 200 || xhr.status === 403) this.lose(row, "Not stored: you may have been signed out. Sign in again in another tab, then send it again.", false);
    else this.lose(row, xhr.status ? "Not stored: something broke on the site." : "Did not arrive: no connection.", true);
  }

  problem(xhr) {
    try { return JSON.parse(xhr.responseText).problem; } catch { return "The site refused this photo."; }
  }

  stored(row, html) {
    const holder = document.createElement("template");
    holder.innerHTML = html;
    const fresh = holder.content.querySelector("li");
    Object.assign(row, { waits: false, stored: true });
    const twin = document.getElementById(fresh.id); // the same file was chosen twice: it is stored once
    row.item.replaceWith(fresh);
    if (row.image) $("[data-preview]", fresh).replaceChildren(row.image);
    if (twin && twin !== fresh) twin.remove();
    row.item = fresh;
    globalThis.htmx?.process(fresh);
    this.count();
    this.sum();
  }

  refuse(row, sentence) {
    Object.assign(row, { waits: false, queued: false, lost: false, refused: true });
    delete row.item.dataset.view;
    $("[data-row-view]", row.item).hidden = true;
    this.state(row, sentence, { failed: true });
    this.count();
  }

  lose(row, sentence, again) {
    row.lost = true;
    const pause = PAUSES[Math.min(row.tries, PAUSES.length - 1)];
    row.tries += 1;
    this.state(row, again ? `${sentence} It stays here and is sent again by itself.` : sentence, { failed: true });
    if (again) row.timer = setTimeout(() => this.queue(row), pause * 1000);
  }
}

document.querySelectorAll("[data-photo-form]").forEach((whole) => new Taking(whole));
