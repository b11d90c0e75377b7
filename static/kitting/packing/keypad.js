"use strict";

// Keys for a number that no scanner reads any more, or for the mass of a box. They cover no more of the bench than
// they need, and stay while it is swapped; a scan is taken as ever, and closes them. That a
// number is wrong is said with its last character.

(() => {
  const ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
  const NUMBER = /^[LBRXKSCQAPVF][1-9]([0-9]{6}|[1-9][0-9]{6,11})[0-9A-Z]$/;
  const SSCC = /^(00)?[0-9]{18}$/;
  const MASS = /^[0-9]{1,7}(\.[0-9]{1,3})?$/;
  const MOST = 40;

  let typed = "";
  let command = ""; // what the figures that are typed belong to

  const pad = () => document.getElementById("keypad");
  const form = () => document.querySelector("#bench form.scan");

  // ISO/IEC 7064 MOD 37,36, as domain/numbers.py has it.
  function character(body) {
    let carry = 36;
    for (const one of body) {
      carry = (carry + ALPHABET.indexOf(one)) % 36 || 36;
      carry = (carry * 2) % 37;
    }
    return ALPHABET[(37 - carry) % 36];
  }

  // GS1 keys: 3 and 1 in turn, from the right.
  function digit(body) {
    const sum = [...body].reverse()
      .reduce((all, one, at) => all + Number(one) * (at % 2 ? 1 : 3), 0);
    return String((10 - (sum % 10)) % 10);
  }

  function state() {
    if (command) {
      return MASS.test(typed) ? "mass" : "grams";
    }
    const check = NUMBER.test(typed) ? character : SSCC.test(typed) ? digit : null;
    if (!check) {
      return "open";
    }
    return check(typed.slice(0, -1)) === typed.at(-1) ? "right" : "wrong";
  }

  function show() {
    const said = state();
    pad().dataset.state = said;
    pad().querySelector("output").textContent = command ? `${typed} g` : typed;
    pad().querySelector("[role=status]").textContent = pad().dataset[said];
    pad().querySelector("[data-do=take]").disabled =
      typed === "" || ["wrong", "grams"].includes(said);
  }

  function close() {
    pad().hidden = true;
    typed = command = "";
    form().elements.scan.focus({ preventScroll: true });
  }

  function take() {
    form().elements.scan.value = command + typed;
    close();
    form().requestSubmit();
  }

  function press({ key, do: act }) {
    typed = act === "back" ? typed.slice(0, -1) : (typed + (key || "")).slice(0, MOST);
    if (act === "close") {
      close();
    } else if (act === "take") {
      take();
    } else {
      show();
    }
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("#keypad button, [data-keypad]");
    if (button && "keypad" in button.dataset) {
      const again = !pad().hidden && button.dataset.keypad === command;
      pad().hidden = again;
      pad().toggleAttribute("data-figures", button.dataset.keypad !== "");
      command = again ? "" : button.dataset.keypad;
      typed = "";
      show();
    } else if (button) {
      press(button.dataset);
    }
  });
  document.addEventListener("submit", (event) => {
    if (!pad().hidden && event.target === form()) {
      close(); // what was scanned meanwhile is answered on the whole screen
    }
  }, true);
})();
