"use strict";

// Letters that make one scan, wherever the focus is: ended by Enter, Tab or a pause, with
// any key for the separator of a symbol. A field that is written in takes them, and Enter
// at their end; what goes into no field is told as "lotward:scan". Without this file scans
// go into a field that has the focus, and end with Enter.

(() => {
  const GROUP_SEPARATOR = "\u001d";
  const STAND_IN = "lotward-separator"; // what the scanner here types for it, if chosen
  const PAUSE_MS = 300; // longer than between two letters of a slow scanner
  const HAND_MS = 40; // no hand types as fast, letter for letter
  const SHORTEST = 4; // fewer letters may be a hand's
  const LONGEST_COUNT = 7; // figures; more of them, so fast, are a scan
  const SILENT = ["Shift", "Control", "Alt", "AltGraph", "Meta", "CapsLock", "NumLock"];
  const BETWEEN = /(?<=[^|])(?=\][A-Za-z][0-9])/; // a symbology identifier begins a scan

  let burst = null; // letters without a pause, and where they go
  let timer = 0;
  let suffixed = false; // the scanner here ends with a key, so a pause ends nothing
  let ended = -Infinity;

  const isDesk = () => document.documentElement.classList.contains("desk");
  const own = () => (isDesk() ? null : document.getElementById("scan")); // a bench's field
  const isScan = (at) => at instanceof HTMLInputElement && "scan" in at.dataset;
  const writes = (at) => at.matches(
    "textarea, input:not([type=checkbox], [type=radio], [type=number])");
  const chooses = (at) => at.matches("select, input[type=number]");
  const tell = (name, detail) =>
    document.dispatchEvent(new CustomEvent(name, { detail, cancelable: true }));

  function put(field, text) {
    field.setRangeText(text, field.selectionStart, field.selectionEnd, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // Says whether anything on the page took it.
  function enter(field) {
    const key = { key: "Enter", bubbles: true, cancelable: true };
    return !field.dispatchEvent(new KeyboardEvent("keydown", key));
  }

  function deliver(text) {
    if (own()) {
      own().value = text;
      enter(own());
    } else {
      tell("lotward:scan", text);
    }
  }

  function standIn() {
    try {
      return localStorage.getItem(STAND_IN);
    } catch {
      return null; // a browser that keeps nothing
    }
  }

  // AltGr is Ctrl and Alt to some browsers; by it some keyboards write a bracket.
  const isPlain = (event) => event.getModifierState("AltGraph") ||
    !(event.ctrlKey || event.altKey || event.metaKey);
  const isControl = (event) => event.ctrlKey && !event.altKey && !isPlain(event);

  // FNC1 comes as GS, as Ctrl+] (another sign where the keyboard is not the scanner's),
  // as F8 or as what was chosen; browsers drop most of them or take them for a command.
  function isSeparator(event) {
    return ["F8", GROUP_SEPARATOR, standIn()].includes(event.key) ||
      (isControl(event) && (event.key === "]" || (burst && event.code === "BracketRight")));
  }

  function isFast() {
    const { length } = burst?.text || "";
    return length >= SHORTEST && burst.last - burst.began <= HAND_MS * (length - 1);
  }

  function begin(event) {
    if (own() && event.key !== " " && !writes(document.activeElement)) {
      own().focus({ preventScroll: true });
    }
    const at = document.activeElement;
    const letter = /^[A-Za-z\]]$/.test(event.key); // no field for figures takes one
    const takes = writes(at) || (chooses(at) && !(letter && at.type === "number"));
    const native = takes && tell("lotward:letters", at);
    const goesOn = native || (isDesk() && (letter || /^[0-9]$/.test(event.key)));
    return goesOn ? { at, native, before: at.value, text: "", began: event.timeStamp } : null;
  }

  function onKey(event) {
    if (!event.isTrusted || SILENT.includes(event.key)) {
      return;
    }
    clearTimeout(timer);
    const paused = burst && event.timeStamp - burst.last >= PAUSE_MS;
    burst = paused || event.repeat || event.isComposing ? null : burst;
    const fast = isFast();
    const scans = fast || event.timeStamp - ended < PAUSE_MS;
    // Ctrl+M, Ctrl+J and Ctrl+I are how some scanners type the ends of a line, and Tab.
    const edits = /^[acvxz]$/i.test(event.key);
    const control = scans && isControl(event) && !isSeparator(event) && !edits;
    if (event.key === "Enter" || (scans && event.key === "Tab") ||
        (control && /^[mji]$/i.test(event.key))) {
      onEnd(event, fast);
    } else if (control || (scans && /^F[0-9]+$/.test(event.key) && !isSeparator(event))) {
      event.preventDefault(); // it would open something of the browser's
    } else if (isSeparator(event) || (event.key.length === 1 && isPlain(event))) {
      onLetter(event);
    } else {
      burst = null;
    }
  }

  function onLetter(event) {
    ended = -Infinity;
    burst ||= begin(event);
    if (!burst) {
      return;
    }
    const separator = isSeparator(event);
    burst.last = event.timeStamp;
    burst.text += separator ? GROUP_SEPARATOR : event.key;
    if (separator && burst.native && isScan(burst.at)) {
      event.preventDefault();
      put(burst.at, GROUP_SEPARATOR);
    } else if (!burst.native || (separator && chooses(burst.at))) {
      event.preventDefault();
    }
    timer = setTimeout(() => {
      if (isFast() && !suffixed) {
        take("");
      }
      burst = null;
    }, PAUSE_MS);
  }

  function onEnd(event, fast) {
    const again = !burst && event.timeStamp - ended < PAUSE_MS; // CR and LF, of one scan
    suffixed ||= fast;
    ended = fast || again ? event.timeStamp : -Infinity;
    if (again || (burst && take(event.key)) || event.ctrlKey) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
    burst = null;
  }

  // Says whether the key that ended the scan has done its work.
  function take(key) {
    const { at, native, before, text } = burst;
    if (native && writes(at)) {
      return key !== "Enter" && takeWritten(at);
    }
    if (native && !(isFast() && (at.matches("select") || text.length > LONGEST_COUNT))) {
      return false; // a hand's choice, or its count
    }
    if (native) {
      at.value = before;
      ["input", "change"].forEach((kind) => at.dispatchEvent(new Event(kind, { bubbles: true })));
    }
    text.split(BETWEEN).forEach(deliver);
    return true;
  }

  function takeWritten(at) {
    const [first, ...others] = isScan(at) ? at.value.split(BETWEEN) : [at.value];
    at.value = first;
    const taken = enter(at);
    others.forEach(deliver);
    return taken;
  }

  document.addEventListener("input", (event) => {
    ended = event.isTrusted ? -Infinity : ended; // letters that came by no key
  });
  document.addEventListener("keydown", onKey, true);
  document.addEventListener("keydown", (event) => {
    const at = event.target;
    if (isScan(at) && event.key === "Enter" && at.form && !event.isComposing) {
      event.preventDefault();
      const next = [...at.form.elements].find((each) =>
        each !== at && each.required && !each.value && each.offsetParent);
      next ? next.focus() : at.form.requestSubmit(); // none is sent half filled in
    }
  });
})();
