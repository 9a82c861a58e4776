// The keyboard, wherever the focus is not in a field. Escape always stops.
import {$} from "./dom.js";

const typed = (target) => target.matches?.("input:not([type=checkbox], [type=range]), select, textarea, dialog *");

export function watchKeys({session, head, scope, drive}) {
  const acts = {
    g: () => head.start(), p: () => $("pause").click(), n: () => $("step").click(),
    k: () => drive.toggle("key"), b: () => drive.toggle("brake"), r: () => drive.toggle("reverse"),
    f: () => scope.toggleHold(), c: () => scope.toggleCursors(), t: () => scope.arm(),
  };
  addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !$("token-dialog").open) {
      session.run("stop");
      return;
    }
    if (event.ctrlKey || event.altKey || event.metaKey || !$("keys").checked || typed(event.target)) return;
    const up = {ArrowUp: 1, ArrowDown: -1}[event.key];
    if (up && session.drives && !event.target.matches("#throttle, #stack, [tabindex]")) {
      drive.nudge(up * (event.shiftKey ? 0.05 : 0.01));
      event.preventDefault();
    } else if (!event.repeat && acts[event.key.toLowerCase()]) {
      acts[event.key.toLowerCase()]();
    }
  });
  addEventListener("keyup", (event) => {
    if (/^Arrow(Up|Down)$/.test(event.key) && $("keys").checked && !typed(event.target)) drive.release();
  });
}
