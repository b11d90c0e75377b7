"use strict";

// The page that tries a scanner: each key is seen before anything makes a scan of it, and
// none does anything. The key that is chosen for the separator is kept in this browser, for
// the scanner is on its device. Without this file only the signs arrive.

(() => {
  const STAND_IN = "lotward-separator"; // keys.js reads it
  const PAUSE_MS = 500; // longer than any within a scan
  const MOST = 100; // keys that an address has room for
  const SILENT = ["Shift", "Control", "Alt", "AltGraph", "Meta", "CapsLock", "NumLock"];

  let keys = [];
  let last = 0;
  let timer = 0;

  const form = () => document.querySelector("[data-trial]");
  const standIn = () => localStorage.getItem(STAND_IN) || "";

  function onKey(event) {
    const field = form().elements.read;
    const at = document.activeElement;
    if (!event.isTrusted || SILENT.includes(event.key) || (at !== field && at.matches("input"))) {
      return;
    }
    const goesOn = keys.length > 0 && event.timeStamp - last < PAUSE_MS;
    const plain = !event.ctrlKey && !event.altKey && !event.metaKey;
    if (!goesOn && !(plain && event.key.length === 1 && event.key !== " ")) {
      return; // a hand goes on to another field, or presses a button
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    field.focus();
    keys = goesOn ? keys : [];
    const pause = goesOn ? Math.round(event.timeStamp - last) : 0;
    const control = event.ctrlKey && !event.altKey && !event.getModifierState("AltGraph");
    keys.push([event.key, pause, ...(control ? [event.code || "?"] : [])]);
    last = event.timeStamp;
    field.value = keys.map(([key]) => (key.length === 1 ? key : "")).join("");
    clearTimeout(timer);
    timer = setTimeout(send, PAUSE_MS);
  }

  function send() {
    const { read, keys: seen, stand_in: chosen } = form().elements;
    const detail = read.value;
    if (document.dispatchEvent(new CustomEvent("lotward:keep", { detail, cancelable: true }))) {
      seen.value = JSON.stringify(keys.slice(0, MOST));
      chosen.value = standIn();
      form().requestSubmit();
    } else {
      read.value = "";
      document.dispatchEvent(new CustomEvent("lotward:say", { detail: "badge" }));
    }
  }

  function showStandIn() {
    const line = document.getElementById("stand-in");
    line.hidden = !standIn();
    line.querySelector("kbd").textContent = standIn();
  }

  window.addEventListener("keydown", onKey, true); // before those of the document
  document.addEventListener("click", (event) => {
    const chosen = event.target.closest("[data-stand-in]")?.dataset.standIn;
    if (chosen !== undefined) {
      localStorage.setItem(STAND_IN, chosen);
      showStandIn();
      send();
    }
  });
  document.addEventListener("htmx:afterSettle", showStandIn);
  showStandIn();
})();
