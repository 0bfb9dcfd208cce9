// Makes the pages handier; everything works without it.
"use strict";

// Boxes ticked on the day's sheet stay ticked on this device.
for (const box of document.querySelectorAll("input[data-keep]")) {
  const name = "tick:" + box.dataset.keep;
  box.checked = localStorage.getItem(name) === "1";
  box.addEventListener("change", () => (box.checked ? localStorage.setItem(name, "1") : localStorage.removeItem(name)));
}

// A suggestion goes into the field it belongs to.
for (const button of document.querySelectorAll("button[data-fill]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    const field = document.getElementById(button.dataset.fill);
    field.value = button.dataset.text;
    field.dispatchEvent(new Event("input"));
    field.focus();
  });
}

// How many parts a text travels in: 160 plain characters, or 70 with accents or signs outside the plain alphabet.
const PLAIN = /^[@£$¥èéùìòÇ\nØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !"#¤%&'()*+,\-./0-9:;<=>?¡A-ZÄÖÑÜ§¿a-zäöñüà]*$/;
for (const field of document.querySelectorAll("textarea[data-parts]")) {
  const shown = document.getElementById(field.dataset.parts);
  const count = () => {
    const plain = PLAIN.test(field.value), length = field.value.length;
    const [one, more] = plain ? [160, 153] : [70, 67];
    const parts = length <= one ? Math.min(length, 1) : Math.ceil(length / more);
    shown.textContent = length ? `${length} characters, ${parts} ${parts === 1 ? "part" : "parts"}` : "";
  };
  field.addEventListener("input", count);
  count();
}

// A button that must not be pressed twice.
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", () => setTimeout(() => form.querySelectorAll("button").forEach((b) => (b.disabled = true)), 0));
}
window.addEventListener("pageshow", () => document.querySelectorAll("button:disabled").forEach((b) => (b.disabled = false)));

for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// A page that waits for something looks again by itself.
const waits = document.querySelector("[data-again]");
if (waits) setTimeout(() => location.reload(), Number(waits.dataset.again));
