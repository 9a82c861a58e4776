// The page of a Stillrotor bench: what belongs to what.
import {Head} from "./head.js";
import {Scope} from "./scope.js";
import {Session} from "./session.js";

const session = new Session(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
new Head(session);
new Scope(session);
session.open();
