// The whole twin, in a thread of the page's own: Python in WebAssembly plays it, frame by frame.

import { loadPyodide } from "./pyodide/pyodide.mjs";

const FRAME_MS = 100;
const TREE = "/twin";

const asked = []; // what the page asked for before the twin was there

async function archive() {
  const answer = await fetch("twin.zip");
  if (!answer.ok) throw new Error(`twin.zip: ${answer.status} ${answer.statusText}`);
  return answer.arrayBuffer();
}

async function start() {
  postMessage({ loading: "loading Python and the twin" });
  const [python, tree] = await Promise.all([loadPyodide(), archive()]);
  postMessage({ loading: "starting the twin" });
  python.unpackArchive(tree, "zip", { extractDir: TREE });
  python.runPython(`import sys; sys.path.insert(0, "${TREE}")`);
  const { PageSession } = python.pyimport("host_sim.site.page_session");
  return PageSession((name, type, text) => postMessage({ file: { name, type, text } }));
}

function fail(error) {
  const lines = String(error.message ?? error).trim().split("\n");
  postMessage({ failed: lines.at(-1) });
  throw error; // for the console, whole
}

function play(session) {
  const began = performance.now();
  try {
    for (const message of asked.splice(0)) {
      const refused = session.ask(message);
      if (refused) postMessage({ frames: JSON.stringify([{ refused }]) });
    }
    postMessage({ frames: session.frame() });
  } catch (error) {
    fail(error);
  }
  setTimeout(() => play(session), Math.max(began + FRAME_MS - performance.now(), 0));
}

onmessage = ({ data }) => asked.push(data);
start().then(play, fail);
