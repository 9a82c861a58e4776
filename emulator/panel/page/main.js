// The page of a Stillrotor bench: what belongs to what.
import {Drive} from "./drive.js";
import {Faults} from "./faults.js";
import {Head} from "./head.js";
import {Health} from "./health.js";
import {watchKeys} from "./keys.js";
import {Log} from "./log.js";
import {Meters} from "./meters.js";
import {Plane} from "./plane.js";
import {Runs} from "./runs.js";
import {Scope} from "./scope.js";
import {Session} from "./session.js";
import {Sound} from "./sound.js";
import {Spectrum} from "./spectrum.js";

// Views of this page's connection; 0 is the scope's, and the trigger's.
const PLANE = 1, SPECTRUM = 2, SOUND = 3, METERS = 4;

const session = new Session(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
const head = new Head(session);
new Runs(session);
const scope = new Scope(session);
const plane = new Plane(session, PLANE);
new Meters(session, METERS, PLANE, (halls, frame) => plane.halls(halls, frame));
new Spectrum(session, SPECTRUM);
new Sound(session, SOUND);
const drive = new Drive(session);
new Faults(session);
new Health(session);
new Log(session, (t_s) => scope.show(t_s));
watchKeys({session, head, scope, drive});
session.open();
