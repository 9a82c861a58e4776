// Finished runs: chosen from a list, on the same scope, with marks, verdict and report.
import assert from "node:assert/strict";
import fs from "node:fs";
import test, {after} from "node:test";
import {assertNoComplaint, closed, config, freshFolder, opened, PATIENT_ms, picture, ran, scratch, started, until, untilText} from "./bench.mjs";

const runs = freshFolder("runs");
fs.mkdirSync(runs);
fs.writeFileSync(scratch("short.yaml"), `scenario: A second of driving
lasts: 1 s
start: {speed: 300 rpm, key: on}
timeline:
  - {at: 0.2 s, throttle: 2 V}
  - {at: 0.6 s, fault: phase_open, line: V}
expect:
  - {measure: bus_voltage_min, min: 10 V}
`);
for (const name of ["one", "two"]) {
  const {status, said} = await ran("run", config("benches", "orchard-cart-mid"), scratch("short.yaml"), "--out", `${runs}/${name}`);
  assert.equal(status, 0, said);
}
const program = await started("panel", runs, "--port", "0");
after(async () => { await closed(); program.interrupt(); });

test("a run is chosen, drawn whole with its marks, and linked to its report", {timeout: 2 * PATIENT_ms}, async () => {
  const page = await opened(program.base, {scheme: "dark"});
  await untilText(page, "#runs-body", /A second of driving/);
  await page.click("#runs-body summary"); // folded: one of them is shown already
  await page.click("#runs-body button[aria-label='Open two']");
  await untilText(page, "#scenario", /A second of driving/);
  await untilText(page, "#verdict", /PASS/);
  await untilText(page, "#log-body", /phase_open/);
  await until(page, () => document.getElementById("stack-note").hidden);
  const whole = await picture(page);
  await page.click("#log-body .fault-mark button"); // brings the scope to the fault
  await page.selectOption("#span", "0.01");
  await untilText(page, "#window-text", /each sample is drawn/);
  await until(page, (old) => document.querySelector("#strip-box canvas").toDataURL() !== old, whole);
  assert.ok(!(await page.isVisible("#drive")), "nobody drives what is over");
  assert.ok(!(await page.isVisible("#stop")));
  const report = await page.context().request.get(program.base + await page.getAttribute("#run-report", "href"));
  if (await page.isVisible("#run-report")) assert.equal(report.status(), 200);
  await page.screenshot({path: scratch("finished.png"), fullPage: true});
  assertNoComplaint();
});
