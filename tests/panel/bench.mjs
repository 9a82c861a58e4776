// What the browser tests share: a run of the real program with its panel, and a real browser at it.
// By environment: PYTHON, STILLROTOR (the program), SOURCE (the tree), PACKAGES (node_modules), SCRATCH (a folder),
// CHROMIUM (the browser; empty where there is none). Waits are for conditions; PATIENT_ms only ends what hangs.
import assert from "node:assert/strict";
import {spawn} from "node:child_process";
import fs from "node:fs";
import path from "node:path";

export const PATIENT_ms = 60000;
const {STILLROTOR, SOURCE, PACKAGES, SCRATCH, CHROMIUM} = process.env;
const skipped = (why) => { console.log(`SKIPPED: ${why}`); process.exit(77); };
if (!CHROMIUM) skipped("chromium is missing (apt-get install chromium)");
const playwright = path.join(PACKAGES, "playwright-core", "index.mjs");
if (!fs.existsSync(playwright)) skipped("playwright-core is missing (npm ci did not bring it; configure again)");
const {chromium} = await import(playwright);

fs.mkdirSync(SCRATCH, {recursive: true});
export const scratch = (name) => path.join(SCRATCH, name);
export const config = (kind, name) => path.join(SOURCE, "configs", kind, `${name}.yaml`);
/// A folder that is not there yet.
export function freshFolder(name) {
  fs.rmSync(scratch(name), {recursive: true, force: true});
  return scratch(name);
}

/// The program, started; {base: "http://127.0.0.1:PORT", said(), ended} once its page is there.
export async function started(...args) {
  const child = spawn(STILLROTOR, args, {stdio: ["ignore", "pipe", "pipe"], cwd: SCRATCH});
  let said = "";
  const ended = new Promise((resolve) => child.on("close", (status, signal) => resolve(status ?? signal)));
  const base = await new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`no panel line on stderr:\n${said}`)), PATIENT_ms);
    const look = (data) => {
      said += data;
      const line = /^panel: (http:\/\/\S+:\d+)\/$/m.exec(said);
      if (line) { clearTimeout(timer); resolve(line[1]); }
    };
    child.stdout.on("data", (data) => { said += data; });
    child.stderr.on("data", look);
    ended.then((status) => { clearTimeout(timer); reject(new Error(`ended with ${status} before its panel was there:\n${said}`)); });
  });
  process.on("exit", () => child.kill("SIGKILL"));
  return {base, said: () => said, ended, interrupt: () => child.kill("SIGINT")};
}

/// The program, run to its end: {status, said}.
export async function ran(...args) {
  const child = spawn(STILLROTOR, args, {stdio: ["ignore", "pipe", "pipe"], cwd: SCRATCH});
  let said = "";
  for (const stream of [child.stdout, child.stderr]) stream.on("data", (data) => { said += data; });
  const status = await new Promise((resolve) => child.on("close", resolve));
  return {status, said};
}

let browser = null;
const complaints = [];
/// A page of its own (own storage, so a client of its own) at the address.
export async function opened(base, {width = 1440, height = 900, phone = false, scheme = "light"} = {}) {
  browser ??= await chromium.launch({executablePath: CHROMIUM, args: ["--headless", "--no-sandbox", "--disable-gpu",
    "--disable-software-rasterizer", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"]});
  const context = await browser.newContext({viewport: {width, height}, colorScheme: scheme, hasTouch: phone, isMobile: phone, acceptDownloads: true});
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENT_ms);
  page.on("pageerror", (error) => complaints.push(`page error: ${error.stack}`));
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) complaints.push(`console: ${message.text()}`); });
  // So that a test can break the connection as a network does.
  await page.addInitScript(() => {
    window.sockets = [];
    window.WebSocket = class extends WebSocket {
      constructor(...given) { super(...given); window.sockets.push(this); }
    };
  });
  await page.goto(base);
  return page;
}
/// Fails on any error the pages have had; what is expected (a RegExp) does not count.
export function assertNoComplaint(expected = /(?!)/) {
  assert.deepEqual(complaints.filter((words) => !expected.test(words)), []);
}
export async function closed() { await browser?.close(); }

/// Waits until f(argument), run in the page, is true.
export const until = (page, f, argument) => page.waitForFunction(f, argument, {timeout: PATIENT_ms, polling: 100});
export const textOf = (page, selector) => page.textContent(selector);
/// Waits until the text of an element matches.
export const untilText = (page, selector, pattern) => until(page, ([s, source]) => new RegExp(source).test(document.querySelector(s)?.textContent ?? ""), [selector, pattern.source]);
/// The number that a meter shows, when it is beyond `least`.
export const untilMeter = (page, name, least) => until(page, ([n, bound]) => {
  const words = document.querySelector(`[data-meter="${n}"] dd`)?.textContent ?? "";
  return Number.parseFloat(words.replace("−", "-")) > bound;
}, [name, least]);
/// The scope's picture, as text to be compared: all pixels of its first strip.
export const picture = (page) => page.evaluate(() => document.querySelector("#strip-box canvas").toDataURL());
/// The model time [s] that the page shows after the run has told twice how it stands.
export const toldTime = async (page) => Number.parseFloat(await page.evaluate(() => new Promise((resolve) => {
  const socket = window.sockets.at(-1);
  let told = 0;
  const listen = ({data}) => {
    if (typeof data !== "string" || !data.startsWith('{"state"') || ++told < 2) return;
    socket.removeEventListener("message", listen);
    resolve(document.getElementById("time").textContent);
  };
  socket.addEventListener("message", listen);
})));
/// Waits until the picture has stayed the same while the page was told of the run three times.
export async function untilStill(page) {
  for (let seen = null, same = 0; same < 3;) {
    const time = await textOf(page, "#time");
    await until(page, (t) => document.getElementById("time").textContent !== t, time);
    const now = await picture(page);
    same = now === seen ? same + 1 : 0;
    seen = now;
  }
}
