// A sheet from below: the native dialog, which keeps the focus inside and closes by Escape.
import { button, el } from "./dom.js";

export function sheet(title, content, { acts = [], wide = false, onClose } = {}) {
  const box = el("dialog", { class: wide ? "sheet wide" : "sheet", "aria-label": title });
  const close = () => box.close();
  box.append(
    el("div", { class: "sheet-top" }, el("h2", { text: title }), button("Close", close, { class: "quiet small" })),
    el("div", { class: "sheet-body" }, content),
    acts.length ? el("div", { class: "sheet-acts" }, acts) : "",
  );
  box.addEventListener("click", (event) => { if (event.target === box) close(); });
  box.addEventListener("close", () => { box.remove(); onClose?.(); });
  document.body.append(box);
  box.showModal();
  return { box, close, body: box.querySelector(".sheet-body") };
}

// The one thing that asks: deleting.
export function asks(question, yes, act) {
  const shown = sheet(question, el("p", { text: "This cannot be undone." }), {
    acts: [button("Leave it", () => shown.close(), { class: "quiet" }), button(yes, () => { shown.close(); act(); }, { class: "main" })],
  });
}

// One line of text, with words to tap.
export function askText(title, { value = "", label = title, proposals = [], accept, most = 120 }) {
  const field = el("input", { type: "text", value, maxlength: most, "aria-label": label, enterkeyhint: "done" });
  const take = () => { shown.close(); accept(field.value.trim()); };
  const shown = sheet(title, [
    el("form", { on: { submit: (event) => { event.preventDefault(); take(); } } }, field),
    el("div", { class: "chips" }, proposals.map((word) => button(word, () => {
      field.value = field.value ? `${field.value}, ${word}` : word;
    }, { class: "chip" }))),
  ], { acts: [button("Cancel", () => shown.close(), { class: "quiet" }), button("Keep", take, { class: "main" })] });
  field.focus();
}
