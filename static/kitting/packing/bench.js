"use strict";

// The bench beyond HTML: the scan field keeps the focus, a scan that the server has not
// acknowledged is kept and sent again under its own key, and yes and no have a sound (sounds.js).
// One that waited for the network and is refused then stops those after it until the
// packer has seen it: what it was for lies in the box already.
// Without this file every scan and button is a plain form post.

(() => {
  const STORE = "lotward-outbox";
  const LAST = "lotward-bench"; // whose bench the tablet showed last
  const RETRY_MS = [1000, 2000, 4000, 8000];
  const LOOK_MS = 4000; // a hold shows within 5 s
  const TRIES = 5; // answers of a failing server before a scan is given up, aloud
  const SEEN = "ACT-NEXT"; // "Go on": a refusal that stays has been read
  const IS_SEEN = /^(\][A-Z][0-9])?ACT-NEXT$/i;
  const HANDS_OVER = /^(\][A-Z][0-9])?ACT-HAND-OVER$/i;
  const AWAY = [502, 503, 504]; // a front server's word for a server that is not there

  let sending = false;
  let tries = 0; // in a row, of any kind: how long to wait
  let failures = 0; // answers of a failing server in a row
  let timer = 0;

  const bench = () => document.getElementById("bench");
  const field = () => document.getElementById("scan");

  // What sounds.js plays, unless the bench is silent.
  function sound(state) {
    if (!("silent" in bench().dataset)) {
      document.dispatchEvent(new CustomEvent("lotward:sound", { detail: state }));
    }
  }

  // ---- the outbox ----------------------------------------------------------------

  // A tablet without storage (a private window) keeps its scans as long as the page.
  let memory = [];

  function kept() {
    try {
      const found = JSON.parse(localStorage.getItem(STORE) || "[]");
      return Array.isArray(found) ? found : [];
    } catch {
      return memory;
    }
  }

  function keep(entries) {
    memory = entries;
    try {
      localStorage.setItem(STORE, JSON.stringify(entries));
    } catch {
      // Nothing to do: memory has them.
    }
  }

  function mine(entry) {
    const here = bench();
    return here && entry.who === here.dataset.who && entry.bench === here.dataset.bench;
  }

  // randomUUID needs https; a workshop's own network often has none.
  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  function take(form) {
    const data = new FormData(form);
    const scanned = form.contains(field());
    if (!scanned && form.dataset.sent) {
      return; // A button touched twice is one act.
    }
    form.dataset.sent = "yes";
    const stopped = refused();
    if (stopped && IS_SEEN.test(data.get("scan").trim())) {
      goOn(stopped, data.get("box"));
      return;
    }
    if (HANDS_OVER.test(data.get("scan").trim()) && waits()) {
      handOverLater();
      return;
    }
    keep([...kept(), {
      who: bench().dataset.who,
      bench: bench().dataset.bench,
      key: scanned ? newKey() : data.get("op_key"),
      scan: data.get("scan"),
      waited: tries > 0,
      // What the screen shows and asks; after a scan that still waits, what it leads to.
      ...(kept().some(mine)
        ? { box: null, purpose: null }
        : { box: data.get("box") || "", purpose: data.get("purpose") || "" }),
    }]);
    if (scanned) {
      field().value = "";
    }
    if (stopped || tries > 0) {
      sound(stopped ? "wrong" : "wait");
    }
    send();
  }

  // What waits means the box that is here: it goes to no other bench before that is sent.
  function waits() {
    return Boolean(refused()) || (tries > 0 && kept().some(mine));
  }

  function handOverLater() {
    field().value = "";
    sound("wrong");
    if (!refused()) {
      say("wrong", "handOver");
    }
  }

  // ---- a scan that waited and was refused ------------------------------------------

  function refused() {
    const first = kept().find(mine);
    return first && first.refused ? first : null;
  }

  function change(entry, more) {
    keep(kept().map((other) => (other.key === entry.key ? { ...other, ...more } : other)));
  }

  // It stays, and stays first, over a new load of the page as well.
  function stop(entry, words) {
    change(entry, { refused: words });
    tell();
    sound("wrong");
  }

  function tell() {
    const stopped = refused();
    const zone = document.getElementById("bench-next");
    const shape = document.getElementById("bench-refused");
    if (!stopped || !shape || zone.dataset.refused === stopped.key) {
      return;
    }
    const fresh = shape.content.cloneNode(true);
    const [head, rest] = stopped.refused;
    fresh.querySelector("h2").textContent = head;
    fresh.querySelector("h2").classList.toggle("long", head.length > 90);
    fresh.querySelector("p").textContent = rest;
    const stay = [shape, zone.querySelector("form.scan")]; // it may be typed into
    [...zone.children].filter((one) => !stay.includes(one)).forEach((one) => one.remove());
    zone.prepend(fresh);
    zone.dataset.state = "wrong";
    zone.dataset.refused = stopped.key;
  }

  // What waits means the box of then; what is scanned from now on, the one on the screen.
  function goOn(stopped, shown) {
    done(stopped, stopped.box);
    if (!kept().some(mine)) {
      const { who, bench: at } = stopped;
      const seen = { key: newKey(), scan: SEEN, purpose: "", waited: false };
      keep([...kept(), { who, bench: at, box: shown ?? stopped.box, ...seen }]);
    }
    document.getElementById("bench-next").dataset.refused = "";
    send();
  }

  function showWaiting() {
    const line = document.getElementById("bench-waiting");
    if (!line) {
      return;
    }
    const all = kept();
    const own = all.filter((entry) => mine(entry) && !entry.refused).length;
    const count = own || (refused() ? 0 : all.length);
    const theirs = count === 1 ? "other" : "others";
    const words = !count ? "none" : !own ? theirs : count === 1 ? "one" : "many";
    line.dataset.waiting = String(count);
    line.textContent = (line.dataset[words] || "").replace("#", String(count));
    document.querySelectorAll("[data-needs-network]").forEach((key) => {
      key.disabled = waits();
    });
    const list = document.getElementById("waiting-scans");
    if (list) {
      const rows = all.filter((entry) => mine(entry) && !entry.refused).map((entry) => {
        const row = document.createElement("li");
        row.textContent = entry.scan;
        return row;
      });
      list.replaceChildren(...rows);
    }
  }

  // What the server says of itself comes as plain text: its first sentence is the head.
  function say(state, words, told = "") {
    const zone = document.getElementById("bench-next");
    const said = zone && zone.querySelector(".next-words");
    if (!said || (zone.dataset.state === state && !told)) {
      return;
    }
    const end = told.indexOf(". ") + 1;
    zone.dataset.state = state;
    const head = document.createElement("h2");
    const rest = document.createElement("p");
    head.textContent = told.slice(0, end) || zone.dataset[`${words}Words`] || "";
    rest.textContent = told.slice(end) || zone.dataset[`${words}ToDo`] || "";
    rest.className = "go-to";
    said.replaceChildren(head, rest);
  }

  async function serverWords(answer, text) {
    const plain = answer.headers.get("Content-Type") === "text/plain";
    return plain ? text ?? answer.text() : "";
  }

  function later() {
    if (tries === 0) {
      sound("wait");
    }
    keep(kept().map((entry) => (mine(entry) ? { ...entry, waited: true } : entry)));
    clearTimeout(timer);
    timer = setTimeout(send, RETRY_MS[Math.min(tries, RETRY_MS.length - 1)]);
    tries += 1;
    showWaiting();
  }

  // The scan after it means the box that this one led to, whatever stands there now.
  function done(entry, box, purpose = "") {
    tries = 0;
    failures = 0;
    const rest = kept().filter((other) => other.key !== entry.key);
    const next = rest.find(mine);
    if (next && next.box === null) {
      Object.assign(next, { box, purpose });
    }
    keep(rest);
  }

  async function post(entry) {
    const token = document.querySelector("#bench [name=csrfmiddlewaretoken]");
    const form = document.querySelector("#bench form.scan");
    const body = new URLSearchParams({
      csrfmiddlewaretoken: token ? token.value : "",
      op_key: entry.key,
      scan: entry.scan,
      purpose: entry.purpose || "",
      waited: entry.waited ? "yes" : "",
      box: entry.box || "",
    });
    const answer = await fetch(form.action, {
      method: "POST",
      body,
      headers: { "HX-Request": "true" },
    });
    return { answer, text: await answer.text() };
  }

  async function send() {
    if (away()) {
      comeBack();
    }
    const entry = kept().find(mine);
    showWaiting();
    tell();
    if (sending || !entry || entry.refused) {
      return;
    }
    sending = true;
    let got = null;
    try {
      got = away() ? null : await post(entry);
    } catch {
      got = null;
    }
    sending = false;
    if (!got || AWAY.includes(got.answer.status)) {
      failures = 0;
      say("wait", "wait", got ? await serverWords(got.answer, got.text) : "");
      later();
    } else {
      receive(entry, got.answer, got.text);
    }
  }

  function receive(entry, answer, text) {
    const elsewhere = answer.headers.get("HX-Redirect");
    if (elsewhere) {
      location.assign(elsewhere); // Signed out meanwhile; the scan waits for its owner.
      return;
    }
    const part = new DOMParser().parseFromString(text, "text/html");
    const fresh = part.getElementById("bench");
    if (fresh) {
      const zone = fresh.querySelector("#bench-next");
      const stops = entry.waited && zone.dataset.state === "wrong";
      const words = ["h2", ".go-to"].map((one) => zone.querySelector(one)?.textContent || "");
      if (stops) {
        tries = failures = 0;
        change(entry, { refused: words });
      } else {
        const asks = fresh.querySelector("form.scan [name=purpose]");
        done(entry, fresh.dataset.leadsTo, asks?.value);
      }
      swap(document.adoptNode(fresh));
      send();
      return;
    }
    if (answer.status === 403 && !entry.reloaded) {
      change(entry, { reloaded: true });
      location.reload(); // The page may be older than the sign-in.
      return;
    }
    failures += 1;
    if (failures < TRIES && answer.status !== 403) {
      say("wait", "failed");
      later();
      return;
    }
    const { failedWords, failedToDo } = document.getElementById("bench-next").dataset;
    tries = failures = 0;
    stop(entry, [failedWords, failedToDo]);
  }

  // The field itself stays: a scanner may be typing into it at this very moment.
  function swap(fresh) {
    const old = field();
    const empty = fresh.querySelector("#scan");
    if (old && empty) {
      empty.replaceWith(old);
    }
    bench().replaceWith(fresh);
    if (window.htmx) {
      window.htmx.process(fresh); // A label that is on its way is looked after by htmx.
    }
    showWaiting();
    focus();
    const { state, done: finished } = document.getElementById("bench-next").dataset;
    sound(finished === undefined ? state : "done");
  }

  // ---- holds ---------------------------------------------------------------------

  // An idle screen asks whether holds were placed or lifted, while somebody can see it,
  // and whether a box was handed over. What it asks of the packer right now gives way
  // only to a hold on the box, or its end, and to a box that came or went.
  async function look() {
    const here = bench();
    const url = here && here.dataset.holdsUrl;
    if (!url || document.hidden || sending || kept().some(mine)) {
      return;
    }
    let text = "";
    try {
      const answer = await fetch(`${url}?seen=${encodeURIComponent(here.dataset.holds)}`, {
        headers: { "HX-Request": "true", "Lotward-By-Itself": "yes" },
      });
      if (answer.headers.has("HX-Redirect")) { // nobody is signed in here any more
        forget();
        location.reload();
        return;
      }
      text = answer.status === 200 ? await answer.text() : "";
    } catch {
      return; // The next scan says that there is no network.
    }
    const part = new DOMParser().parseFromString(text, "text/html");
    const fresh = part.getElementById("bench");
    if (!fresh || here !== bench() || sending || kept().some(mine)) {
      return;
    }
    const held = (of) => of.querySelector("#bench-next").dataset.step === "held";
    const box = (of) => of.dataset.box;
    const { state, menu } = document.getElementById("bench-next").dataset;
    const began = held(fresh) && !held(here);
    const other = box(fresh) !== box(here);
    const came = other && box(fresh) !== "";
    if ((state === "wrong" || menu) && !held(fresh) && !held(here) && !other) {
      here.dataset.holds = fresh.dataset.holds;
      return;
    }
    swap(document.adoptNode(fresh));
    if (began) {
      sound("wrong");
    } else if (came) {
      sound("right");
    }
  }

  // ---- a start without network -----------------------------------------------------

  // The page that stands in for the bench's sends nothing: it has no word of the server's.
  function away() {
    return "offline" in bench().dataset;
  }

  async function comeBack() {
    try {
      const ask = { cache: "no-store", headers: { "HX-Request": "true" } };
      const answer = await fetch(location.href, ask);
      if (!AWAY.includes(answer.status)) {
        location.reload();
      } else if (!refused()) {
        say("wait", "wait", await serverWords(answer));
      }
    } catch {
      // The next look finds it.
    }
  }

  function remember() {
    try {
      const last = JSON.parse(localStorage.getItem(LAST) || "{}");
      const { who, bench: at } = bench().dataset;
      if (away() && last.path === location.pathname) {
        Object.assign(bench().dataset, { who: last.who, bench: last.bench });
        bench().toggleAttribute("data-silent", last.silent === true);
        document.getElementById("bench-box-title").textContent = last.name;
      } else if (!away() && who) {
        const path = location.pathname;
        const name = document.querySelector(".strip-who small").textContent;
        const silent = "silent" in bench().dataset;
        localStorage.setItem(LAST, JSON.stringify({ who, bench: at, name, path, silent }));
      }
    } catch {
      // A tablet that keeps nothing starts without it.
    }
    if (away() && !bench().dataset.who) {
      const rest = bench().querySelector(".go-to");
      rest.textContent = rest.dataset.nobody;
      field().form.remove(); // Nobody knows whose scans they would be.
    }
  }

  // Without network it is done by the next page that comes from the server: lotward.js.
  async function leave(form) {
    forget();
    bench().dataset.who = "";
    try {
      const body = new FormData(form);
      await fetch(form.action, { method: "POST", body, redirect: "manual" });
      location.reload();
    } catch {
      bench().dataset.offline = "";
      const zone = document.getElementById("bench-next");
      [...zone.children].forEach((one) => one.matches(".next-words") || one.remove());
      document.querySelectorAll(".strip-undo, .strip-who").forEach((one) => one.remove());
      say("wait", "wait", zone.dataset.left);
      showWaiting();
    }
  }

  function forget() {
    try {
      localStorage.removeItem(LAST);
    } catch {
      // Then it kept nothing.
    }
  }

  async function standBy() {
    const { worker, offline: page } = document.getElementById("bench-next").dataset;
    if (!worker || !navigator.serviceWorker || away()) {
      return; // The page of the bench says what it takes.
    }
    try {
      await navigator.serviceWorker.register(worker);
      const ready = await navigator.serviceWorker.ready;
      const used = document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src]");
      const files = [...used].map((one) => one.href || one.src);
      ready.active.postMessage({ page, files });
    } catch {
      // Without it the bench works as it does with a network.
    }
  }

  function badgeWaits() {
    sound("wrong");
    if (!refused()) {
      document.getElementById("bench-next").dataset.state = "";
      say("wait", "badgeWaits"); // no try to send it again writes over that
    }
  }

  // ---- the focus -----------------------------------------------------------------

  function focus() {
    const scan = field();
    if (scan && document.activeElement !== scan) {
      scan.focus({ preventScroll: true });
    }
  }

  document.addEventListener("click", (event) => {
    if (!event.target.closest("a, button")) {
      focus();
    }
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if ("signOut" in form.dataset) {
      event.preventDefault();
      leave(form);
    } else if (form instanceof HTMLFormElement && "send" in form.dataset) {
      event.preventDefault();
      take(form);
    }
  });
  document.addEventListener("lotward:badge", () => {
    sound("wrong");
    if (refused()) {
      return; // That sentence stays.
    }
    document.getElementById("bench-next").dataset.state = "";
    say("wrong", "badge");
  });
  // What waits was scanned by whoever is on: nobody takes over before it is sent.
  document.addEventListener("lotward:hand-over", (event) => {
    if (kept().some(mine) || away()) {
      event.preventDefault();
      badgeWaits();
    } else {
      forget();
    }
  });
  document.addEventListener("lotward:badge-waits", badgeWaits);
  setInterval(() => (away() ? comeBack() : look()), LOOK_MS);
  document.addEventListener("visibilitychange", look);
  window.addEventListener("online", send);
  window.addEventListener("focus", focus);
  window.addEventListener("pageshow", focus);
  window.addEventListener("storage", showWaiting);
  document.addEventListener("DOMContentLoaded", () => {
    remember();
    focus();
    send();
    standBy();
  });
})();
