"use strict";

// What a scanner types: the separator of a symbol, scans wherever the focus is, command
// labels at a desk. Without this file scans go into a field that has the focus.

(() => {
  const GROUP_SEPARATOR = "\u001d";

  function put(field, text) {
    field.setRangeText(text, field.selectionStart, field.selectionEnd, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // A scanner types FNC1 as Ctrl+] or F8; browsers drop it or take it for a command.
  function onScanKey(event) {
    const field = event.target;
    if (!(field instanceof HTMLInputElement) || !("scan" in field.dataset)) {
      return;
    }
    if (isSeparator(event)) {
      event.preventDefault();
      put(field, GROUP_SEPARATOR);
    } else if (event.key === "Enter" && field.form && !event.isComposing) {
      event.preventDefault();
      field.form.requestSubmit();
    }
  }

  // ---- a scanner, wherever the focus is --------------------------------------------
  // It types faster than anybody. What it reads while no text is being written goes into
  // the page's own field for scans, else into the one on top. A command label does what
  // it says on this page. The bench reads both by itself.

  const PAUSE_MS = 300; // longer than between two letters of a slow scanner
  let read = "";
  let readAt = 0;
  let figured = null;
  let unsaved = false; // something was entered that leaving the page would lose

  const isDesk = () => document.documentElement.classList.contains("desk");
  const writes = (at) => at.matches(
    "textarea, select, input:not([type=checkbox], [type=radio], [type=number])");

  function isSeparator(event) {
    return event.key === "F8" || (event.ctrlKey && event.key === "]");
  }

  // Figures are scanned one by one into the first count of the form.
  function figure(digit) {
    const at = document.activeElement;
    const field = at.type === "number" ? at :
      document.querySelector("main form.form input[type=number]");
    if (field) {
      field.value = field === figured ? field.value + digit : digit;
      field.focus();
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    figured = field;
    return field;
  }

  function command(name) {
    if (/^[0-9]$/.test(name)) {
      return figure(name);
    }
    figured = null;
    const found = document.querySelector(name === "DO" ? "main form.form .acts button" :
      `main [data-act="${CSS.escape(name)}"]`);
    found?.focus();
    if (found && !found.checked) {
      found.click();
    }
    return found;
  }

  const say = (kind) =>
    document.dispatchEvent(new CustomEvent("lotward:say", { detail: kind }));
  const commandIn = (text) => /ACT-([A-Z0-9-]+)$/i.exec(text.trim());

  function deliver(text) {
    const act = commandIn(text);
    if (act) {
      if (!command(act[1].toUpperCase())) {
        say("command");
      }
      return;
    }
    const field = document.querySelector("main form:not(.sentence) [data-scan]") ||
      document.getElementById("find");
    if (field?.id === "find" && unsaved) {
      say("unsaved");
    } else if (field && !field.form.classList.contains("htmx-request")) {
      field.value = text;
      field.focus();
      field.dispatchEvent(new Event("input", { bubbles: true }));
      field.dispatchEvent(
        new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true }));
    }
  }

  function onCommand(event) {
    const at = event.target;
    const act = event.key === "Enter" && isDesk() && writes(at) && commandIn(at.value);
    if (act) {
      const whole = at.value;
      at.value = whole.slice(0, act.index);
      if (command(act[1].toUpperCase())) {
        event.preventDefault();
        event.stopImmediatePropagation();
      } else {
        at.value = whole;
      }
    }
  }

  function onStray(event) {
    if (event.key === "Shift" || event.key === "Control") {
      return;
    }
    const goesOn = read !== "" && event.timeStamp - readAt < PAUSE_MS;
    readAt = event.timeStamp;
    if (!isDesk() || event.isComposing || writes(document.activeElement)) {
      read = "";
    } else if (goesOn && event.key === "Enter") {
      event.preventDefault();
      event.stopImmediatePropagation();
      deliver(read);
      read = "";
    } else if (goesOn && isSeparator(event)) {
      event.preventDefault();
      read += GROUP_SEPARATOR;
    } else if (event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey &&
        (goesOn || /[A-Za-z\]]/.test(event.key))) {
      // A number begins with a letter, and no field for figures takes one.
      event.preventDefault();
      read = (goesOn ? read : "") + event.key;
    } else {
      read = "";
    }
  }

  document.addEventListener("input", (event) => {
    unsaved ||= event.target.closest("main form.form") !== null;
  });
  document.addEventListener("keydown", onCommand, true);
  document.addEventListener("keydown", onStray, true);
  document.addEventListener("keydown", onScanKey);
})();
