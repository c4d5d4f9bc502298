// One unit.
import { el } from "./dom.js";
export function unit_view() {
  return { node: el("div") };
}
