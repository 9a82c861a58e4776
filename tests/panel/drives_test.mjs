// A person at a bench: starts it, drives it, breaks it, is watched, loses the connection, saves what was done.
import assert from "node:assert/strict";
import {spawnSync} from "node:child_process";
import fs from "node:fs";
import test, {after} from "node:test";
import {assertNoComplaint, closed, config, freshFolder, opened, PATIENT_ms, picture, ran, scratch, started, textOf, toldTime, until, untilMeter, untilStill, untilText} from "./bench.mjs";

const BENCH = config("benches", "orchard-cart-mid");
const folder = freshFolder("driven");
const program = await started("run", BENCH, config("scenarios", "bench-session"), "--pace", "wall", "--panel", "--port", "0", "--out", folder);
const page = await opened(program.base);
after(async () => { await closed(); program.interrupt(); });
const headHeight = () => page.$eval("#head", (head) => head.offsetHeight);
let highAtFirst = 0;
const one = (name, f) => test(name, {timeout: 3 * PATIENT_ms}, f);

one("waits for Start, then draws the bench as it runs", async () => {
  await untilText(page, "#phase", /waits for Start/);
  assert.match(await textOf(page, "#bench"), /Orchard cart, mid machine/);
  highAtFirst = await headHeight();
  await page.click("#start"); // takes the free seat as well
  await untilText(page, "#phase", /running/);
  await untilText(page, "#driver", /you/);
  await page.click("button[data-action=key]");
  await untilText(page, "#log-body", /key: on/);
  const time = Number.parseFloat(await textOf(page, "#time"));
  await until(page, (t) => Number.parseFloat(document.getElementById("time").textContent) > t, time);
});

one("a throttle moved by keys sets the cart in motion", async () => {
  const flat = await picture(page);
  await page.focus("#throttle");
  for (let k = 0; k < 4; ++k) await page.keyboard.press("PageUp");
  await untilText(page, "#log-body", /throttle: /);
  await untilMeter(page, "speed", 30);
  await untilMeter(page, "torque_mean", 0.1);
  await until(page, (old) => document.querySelector("#strip-box canvas").toDataURL() !== old, flat);
  await untilText(page, "#rotor-text", /Halls U [01], V [01], W [01]/);
  await untilText(page, "#spectrum-text", /Hann window/);
});

one("pauses, and a step is a PWM period", async () => {
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press("p");
  await untilText(page, "#phase", /paused/);
  await untilText(page, "#time", /\.\d{6} s/);
  const before = await toldTime(page);
  await page.click("#step");
  await until(page, (t) => Number.parseFloat(document.getElementById("time").textContent) > t, before);
  const stepped = await toldTime(page) - before;
  // The bench expects 8 kHz; the loop stops at the end of the turn in which the period ends. Read to a microsecond.
  assert.ok(stepped > 1 / 8000 - 2e-6 && stepped < 2 / 8000, `${stepped} s`);
  await page.keyboard.press("g");
  await untilText(page, "#phase", /running/);
});

one("a second page watches and cannot drive, on a phone without scrolling sideways", async () => {
  const watcher = await opened(program.base, {width: 375, height: 812, phone: true});
  await untilText(watcher, "#phase", /running/);
  await untilText(watcher, "#seat-why", /somebody else drives/);
  assert.ok(await watcher.isDisabled("#throttle"));
  assert.ok(await watcher.isDisabled("button[data-action=brake]"));
  assert.ok(await watcher.isDisabled("#seat"));
  assert.ok(await watcher.isEnabled("#stop"));
  await untilMeter(watcher, "speed", 10);
  const small = await watcher.evaluate(() => [...document.querySelectorAll("button, select, summary, nav a")]
    .filter((e) => e.checkVisibility()).filter((e) => { const r = e.getBoundingClientRect(); return r.width < 44 || r.height < 44; }).map((e) => e.outerHTML));
  assert.deepEqual(small, []);
  const nameless = await watcher.evaluate(() => [...document.querySelectorAll("button, input, select")]
    .filter((e) => e.checkVisibility() && !e.labels?.length && !e.ariaLabel && !e.textContent.trim() && e.ariaHidden !== "true").map((e) => e.outerHTML));
  assert.deepEqual(nameless, []);
  await watcher.screenshot({path: scratch("phone.png")});
  for (const width of [320, 375, 768, 1100, 1920]) {
    await watcher.setViewportSize({width, height: 900});
    await until(watcher, (wide) => innerWidth === wide && document.documentElement.scrollWidth <= wide, width);
  }
  await watcher.context().close();
});

one("a trigger catches a fault that is put in by hand, and stays", async () => {
  await page.selectOption("#trigger-on", "fault");
  await page.click("#trigger-arm");
  await untilText(page, "#trigger-state", /armed, waits for any fault/);
  await page.fill("#faults-find", "hall line open");
  await page.click("details[data-fault=hall_line_open] summary");
  await until(page, () => document.querySelector("details[data-fault=hall_line_open]").open);
  await page.click("details[data-fault=hall_line_open] button");
  await untilText(page, "#trigger-state", /caught .*hall_line_open/);
  await untilText(page, "#faults-present", /hall line open U/);
  await untilText(page, "#window-text", /the trigger at/);
  await untilStill(page); // while time goes on
  await page.click("#cursors");
  await untilText(page, "#values-table", /1 \/ that time/);
  await page.screenshot({path: scratch("wide.png"), fullPage: true});
  await page.click("#cursors");
  await page.click("#faults-present button");
  await until(page, () => document.querySelectorAll("#faults-present li").length === 0);
  await page.selectOption("#trigger-on", "off");
});

one("what is not allowed is refused in words, and closes nothing", async () => {
  await page.click("details.points summary");
  await page.fill("#set-throttle", "5.5"); // within the field's own bounds; then past them
  await page.evaluate(() => document.querySelector("form[data-action=throttle]").setAttribute("novalidate", ""));
  await page.fill("#set-throttle", "77");
  await page.click("form[data-action=throttle] button");
  await untilText(page, "#refusal", /allowed/);
  await untilText(page, "#connection", /open/);
});

one("sound says what it plays", async () => {
  await page.click("#sound-on");
  await untilText(page, "#sound-text", /Plays torque_mean/);
  await page.click("#sound-on");
  await untilText(page, "#sound-text", /Off/);
});

one("a connection that breaks comes back as the same driver, with the same picture", async () => {
  await page.selectOption("#span", "0.5");
  await page.fill("#faults-find", "phase open");
  await page.click("details[data-fault=phase_open] summary");
  await page.fill("#set-slope", "3"); // typed, not yet set
  await page.evaluate(() => window.sockets.at(-1).close());
  await untilText(page, "#connection", /lost|connecting/);
  await untilText(page, "#connection", /open/);
  await untilText(page, "#driver", /you/);
  const before = await textOf(page, "#window-text");
  assert.match(before, /0 is now/);
  await until(page, (old) => document.getElementById("window-text").textContent !== old, before);
  assert.equal(await page.inputValue("#span"), "0.5");
  assert.equal(await page.inputValue("#set-slope"), "3");
  assert.ok(await page.$eval("details[data-fault=phase_open]", (row) => row.open));
  assert.equal(await headHeight(), highAtFirst); // what stands below has not moved under the hand
});

one("Escape stops the run, and the scenario that was driven runs again to the bit", async (t) => {
  await page.keyboard.press("Escape");
  await untilText(page, "#phase", /ended/);
  await untilText(page, "#reason", /Stopped at .* no verdict/);
  await untilText(page, "#save", /driven-scenario.yaml/); // it lies beside the record
  const arrives = page.waitForEvent("download");
  await page.click("#save");
  const saved = scratch("saved.yaml");
  await (await arrives).saveAs(saved);
  const text = fs.readFileSync(saved, "utf8");
  for (const line of [/key: on/, /throttle: /, /fault: hall_line_open, line: U/, /clear: hall_line_open/]) assert.match(text, line);
  assertNoComplaint();
  await closed();
  program.interrupt();
  await program.ended;
  assert.match((await ran("record", "info", folder)).said, /hall_line_open/, "the record has the fault");
  const again = freshFolder("again");
  const {status, said} = await ran("run", BENCH, saved, "--out", again);
  assert.equal(status, 0, said);
  const same = spawnSync(process.env.PYTHON, [new URL("same_record.py", import.meta.url).pathname, `${folder}/record.h5`, `${again}/record.h5`], {encoding: "utf8"});
  if (same.status === 77) return t.skip(same.stdout);
  assert.equal(same.status, 0, same.stdout + same.stderr);
});
