// Light or dark: as the device has it, or as chosen on the Shelf.
import { keep } from "./store.js";

export function useTheme(name) {
  keep("theme", name);
  if (name) document.documentElement.dataset.theme = name;
  else delete document.documentElement.dataset.theme;
}
