// What a hand does at the bench is kept in the browser first, and sent until the studio has said that it has it: taps
// on the large buttons, and photographs. A lost connection or a locked screen costs nothing; what waits is shown. What
// the studio answered is kept too until the page has heard it, for a phone may put the page away in between.

const BUTTONS = { "bench-pass": "count", "bench-next": "go on", "bench-undo": "undo" };
const PICKED = Object.keys(BUTTONS).map((key) => `.st-key-${key} button`).join(", ");
const OUT_OF_USE = ["disabled", "inert", "aria-hidden"];
const TRY_AGAIN_MS = 2500;

let addresses, tell, store, line;
let sending = false;
let why = ""; // what the studio said of why it can't keep it just now
let batch, told_at = 0;
const sent = [];
const told = new Set();

export default function ({ data, setTriggerValue }) {
  tell = setTriggerValue;
  if (batch && data.heard === batch.uid) {
    batch.sent.forEach(drop);
    batch = undefined;
  }
  // Another has signed in, and this page has been told so by its own connection: what stands in it was not theirs.
  if (addresses && data.whose !== addresses.whose) return location.reload();
  if (addresses) return hand_over();
  addresses = data;
  document.addEventListener("click", tapped, true);
  document.addEventListener("change", chosen, true);
  window.addEventListener("online", send);
  window.addEventListener("beforeunload", (event) => in_memory.length && event.preventDefault());
  document.addEventListener("pm-reach", reach_changed);
  document.addEventListener("visibilitychange", () => document.hidden || send());
  new MutationObserver(keep_usable).observe(document.body, { subtree: true, attributeFilter: OUT_OF_USE });
  setInterval(send, TRY_AGAIN_MS);
  send();
}

function tapped(event) {
  const button = event.target.closest?.(PICKED);
  const about = document.querySelector(".pm-tap");
  if (!button || !about) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  const key = Object.keys(BUTTONS).find((one) => button.closest(`.st-key-${one}`));
  const { piece, at, once } = about.dataset;
  put({
    uid: crypto.randomUUID(),
    kind: "tap",
    // What cannot be done twice is sent once, whatever the hand does while the page stands still.
    only: once === "yes" || BUTTONS[key] === "go on" ? `${piece} ${at}` : undefined,
    body: { piece, at: Number(at), pressed: BUTTONS[key], when: new Date().toISOString() },
  });
}

function chosen(event) {
  const field = event.target;
  if (!(field instanceof HTMLInputElement) || !field.closest(".pm-take")) return;
  event.stopImmediatePropagation();
  for (const file of field.files ?? [])
    put({ uid: crypto.randomUUID(), kind: "photograph", form: field.dataset.form, name: file.name, file });
  field.value = "";
}

// While there is no connection the page's own buttons are taken out of use, and all that lies behind its own dialog:
// what is kept here needs none.
function keep_usable(changes) {
  if (!document.querySelector(".pm-tap, .pm-take")) return;
  for (const { target } of changes) {
    if (target.disabled && target.matches(PICKED)) target.disabled = false;
    if (is_lost() && (target.inert || target.ariaHidden === "true")) bring_back(target);
  }
}

function bring_back(part) {
  part.inert = false;
  part.removeAttribute("aria-hidden");
}

// The browser's own database, or memory where it has none: a private window.
function opened() {
  store ??= new Promise((resolve) => {
    const asked = indexedDB.open("patina-waiting", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "number", autoIncrement: true });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => resolve(undefined);
  }).catch(() => undefined);
  return store;
}

// What came of it, once it is kept for good; nothing where it is not. The database is opened anew when that fails: a
// browser closes it by itself when a phone has slept, or what it keeps for a site is cleared.
async function within(mode, ask) {
  for (let tries = 0; tries < 2; tries += 1) {
    const database = await opened();
    if (!database) return undefined;
    try {
      return await new Promise((resolve, reject) => {
        const change = database.transaction("waiting", mode, { durability: "strict" });
        const asked = ask(change.objectStore("waiting"));
        change.oncomplete = () => resolve({ found: asked.result });
        change.onerror = change.onabort = () => reject(change.error);
      });
    } catch {
      store = undefined;
    }
  }
  return undefined;
}

const in_memory = [];

async function all() {
  const kept = await within("readonly", (shelf) => shelf.getAll());
  return [...(kept?.found ?? []), ...in_memory];
}

const is_mine = (one) => one.whose === addresses.whose;

async function put(one) {
  const waiting = (await all()).filter(is_mine);
  if (one.only && waiting.some((other) => other.only === one.only)) return;
  const mine = { ...one, whose: addresses.whose };
  const kept = await within("readwrite", (shelf) => shelf.add(mine));
  if (!kept) in_memory.push(mine); // no room: memory is better than nothing
  await show();
  send();
}

async function drop(one) {
  const at = in_memory.findIndex((other) => other.uid === one.uid);
  if (at >= 0) in_memory.splice(at, 1);
  else await within("readwrite", (shelf) => shelf.delete(one.number));
}

async function answered(one, answer) {
  Object.assign(one, { answer, file: undefined });
  if (!in_memory.includes(one)) await within("readwrite", (shelf) => shelf.put(one));
}

// One at a time, in the order in which they were made; of whoever is signed in now.
async function send() {
  if (sending) return;
  sending = true;
  try {
    for (const one of (await all()).filter(is_mine)) {
      const answer = one.answer ?? (await handed(one));
      if (!answer) break;
      if (!one.answer) await answered(one, answer);
      if (told.has(one.uid)) continue;
      told.add(one.uid);
      sent.push({ uid: one.uid, number: one.number, kind: one.kind, form: one.form, name: one.name, ...answer });
    }
  } finally {
    sending = false;
    await show();
    hand_over();
  }
}

// What the studio says of it: kept, or refused with a sentence. Nothing where it cannot be reached.
async function handed(one) {
  const is_tap = one.kind === "tap";
  const asked = is_tap ? addresses.taps : `${addresses.photographs}?name=${encodeURIComponent(one.name)}`;
  try {
    const answer = await fetch(asked, {
      method: "POST",
      headers: { "Content-Type": is_tap ? "application/json" : "application/octet-stream", "X-Sent": one.uid },
      body: is_tap ? JSON.stringify({ ...one.body, uid: one.uid }) : one.file,
      signal: AbortSignal.timeout(is_tap ? 8000 : 300000),
    });
    why = answer.status === 503 ? ((await answer.json().catch(() => ({}))).said ?? "") : "";
    if (answer.status === 401) return void lost_sign_in();
    lost(answer.status >= 500);
    if (answer.status === 200 || answer.status === 422) return await answer.json();
    if (is_tap && refused_for_good(answer.status))
      return { kept: false, said: `The studio refused a tap (${answer.status}): reload the page, and tap again.` };
    return undefined; // a photograph stays here, whatever was answered: it may be the only one there is
  } catch {
    why = "";
    lost(true);
    return undefined;
  }
}

const refused_for_good = (status) => status >= 400 && status < 500 && ![408, 425, 429].includes(status);

// While it lasts our own line says so, in place of the page's own dialog, which would lie over the buttons.
function lost(yes) {
  const was = is_lost();
  document.documentElement.toggleAttribute("data-pm-lost", yes);
  if (was !== yes) reach_changed();
}

const is_lost = () => document.documentElement.hasAttribute("data-pm-lost");

function reach_changed() {
  if (is_lost()) for (const part of document.querySelectorAll("[inert], body > [aria-hidden]")) bring_back(part);
  else send();
  show();
}

function lost_sign_in() {
  location.assign(`${addresses.sign_in}?to=${encodeURIComponent(location.pathname + location.search)}`);
}

// The page is told until it says that it has heard, for its own connection comes back in its own time; and not while it
// is being worked out.
function hand_over() {
  if (!batch && sent.length) {
    batch = { uid: crypto.randomUUID(), sent: sent.splice(0) };
    told_at = 0;
  }
  if (!batch) return;
  const state = document.querySelector('[data-testid="stApp"]')?.dataset.testScriptState;
  if (state === "running" || state === "rerunRequested") return void setTimeout(hand_over, 200);
  if (Date.now() - told_at < TRY_AGAIN_MS) return void setTimeout(hand_over, 500);
  told_at = Date.now();
  tell("sent", batch);
  setTimeout(hand_over, TRY_AGAIN_MS);
}

async function show() {
  const waiting = (await all()).filter((one) => !one.answer);
  document.documentElement.toggleAttribute("data-pm-only-here", in_memory.length > 0);
  const parts = kinds(waiting.filter(is_mine));
  const others = kinds(waiting.filter((one) => !is_mine(one)));
  line ??= document.body.appendChild(document.createElement("p"));
  Object.assign(line, { className: "pm-waiting", role: "status" });
  const here = is_lost() && document.querySelector(".pm-tap, .pm-take");
  line.hidden = !parts && !others && !here;
  const said = parts
    ? [`${parts} kept on this device, waiting to be sent.`]
    : here ? ["No connection. Taps and photographs are kept on this device until it is back."] : [];
  if (parts && why) said.push(why);
  if (others) said.push(`${others} of somebody else kept on this device until they sign in here.`);
  line.textContent = said.join(" ");
}

function kinds(waiting) {
  const taps = waiting.filter(({ kind }) => kind === "tap").length;
  return [counted(taps, "tap"), counted(waiting.length - taps, "photograph")].filter(Boolean).join(" and ");
}

const counted = (count, noun) => count && `${count} ${noun}${count > 1 ? "s" : ""}`;
