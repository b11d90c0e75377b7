"use strict";

// A scan at a desk: what keys.js reads while no text is written goes into the page's own field
// for scans, else into the one on top; a command label does what it says. Benches have their own.

(() => {
  const WAITING = "lotward-scans"; // those that the next page takes
  const LEAVE_MS = 5000; // what led to another page has led to none after all

  let left = -Infinity; // when something led away from this page
  let waiting = []; // scans that came while the page was busy with the one before
  let figured = null;

  const isDesk = () => document.documentElement.classList.contains("desk");
  const writes = (at) => at.matches(
    "textarea, select, input:not([type=checkbox], [type=radio], [type=number])");
  const isAway = () => performance.now() - left < LEAVE_MS;
  const isBusy = () => isAway() || document.querySelector("main form.htmx-request") !== null;

  // Something was entered that leaving the page would lose.
  const isChanged = (at) => at.matches("select") ?
    at.selectedIndex !== Math.max(0, [...at.options].findIndex((one) => one.defaultSelected)) :
    at.value !== at.defaultValue || at.checked !== at.defaultChecked;
  const entries = "main form.form :is(input:not([type=hidden]), textarea, select)";
  const isUnsaved = () => [...document.querySelectorAll(entries)].some(isChanged);

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
      if (found.href) {
        leave();
      }
    }
    return found;
  }

  const tell = (name, detail) =>
    document.dispatchEvent(new CustomEvent(name, { detail, cancelable: true }));
  const commandIn = (text) => /ACT-([A-Z0-9-]+)$/i.exec(text.trim());

  function obey(text) {
    const act = commandIn(text);
    const field = document.querySelector("main form:not(.sentence) [data-scan]") ||
      document.getElementById("find");
    if (act) {
      if (!command(act[1].toUpperCase())) {
        tell("lotward:say", "command");
      }
    } else if (field?.id === "find" && isUnsaved()) {
      tell("lotward:say", "unsaved");
    } else if (field) {
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

  // ---- two scans in one burst --------------------------------------------------------
  // The second one means the page that the first one leads to, and waits for that.

  function goOn() {
    while (waiting.length && !isBusy()) {
      obey(waiting.shift());
    }
  }

  function leave() {
    left = performance.now();
    setTimeout(goOn, LEAVE_MS);
  }

  // A badge is kept nowhere, and read where it is entered only.
  function hand() {
    const texts = waiting.splice(0).filter((text) => tell("lotward:keep", text));
    sessionStorage.setItem(WAITING, JSON.stringify({ at: Date.now(), texts }));
  }

  function receive() {
    const { at, texts } = JSON.parse(sessionStorage.getItem(WAITING) || "{}");
    sessionStorage.removeItem(WAITING);
    waiting = isDesk() && Date.now() - at < LEAVE_MS ? texts : [];
    goOn();
  }

  document.addEventListener("lotward:scan", (event) => {
    waiting.push(event.detail);
    goOn();
  });
  // A field whose page is going, or whose scan is on its way, takes no letters.
  document.addEventListener("lotward:letters", (event) => {
    const { form, dataset } = event.detail;
    const sent = "scan" in dataset && form?.classList.contains("htmx-request");
    if (isDesk() && (isAway() || sent)) {
      event.preventDefault();
    }
  });
  window.addEventListener("submit", (event) => event.defaultPrevented || leave());
  window.addEventListener("beforeunload", leave);
  window.addEventListener("pagehide", () => waiting.length && hand());
  window.addEventListener("pageshow", (event) => {
    left = event.persisted ? -Infinity : left; // it comes back as it was left
  });
  document.addEventListener("DOMContentLoaded", receive);
  document.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.xhr?.getResponseHeader("HX-Redirect")) {
      leave();
    }
    setTimeout(goOn, 100); // once what came is settled
  });
  document.addEventListener("keydown", onCommand, true);
})();
