// A lesson of the course in JupyterLab or Notebook: it runs by itself as it opens, and its page stays put.
//
// What a bundler would make of it is written by hand: a container that gives JupyterLab one plugin and takes JupyterLab's
// own libraries from it. All of it stands in a block, since a name at the top of such a script would hide the browser's.
{
const here = document.currentScript.src;
const VIEW = "application/vnd.jupyter.widget-view+json";
const PLUGIN = "gainlib:page";
const MOST_ACCEPTED = 500;
const MOST_STILL = 2_000_000;
const LOOKED_AFTER_MS = 2500;
const MOVES = ["wheel", "pointerdown", "keydown"];
const CONTENTS = "gainlib:contents";
const FIRST_PAGE = "contents.ipynb";

const NOT_OURS = "The code of this page is not the course's own, so it did not run by itself. Run it if the change is yours or "
  + "you trust whose it is; that is remembered.";
const UNKNOWN = "This page cannot tell whether its code is the course's own, so it did not run by itself.";
const ANEW = "The kernel of this page was restarted and has run nothing of it yet.";
const GONE = "The kernel of this page has ended. What you see is the last that it showed.";
const ELSEWHERE = "This page is open in another tab or window; it goes on there.";
const RUN = "Run this page";
const TAKE_BACK = "Go on here";
const STILL = "This is how it stood when the page was saved.";
const TO_COME = "This comes back when the page runs.";

// First of all the kernel learns to take nothing from the folder in a library's place, and what a lesson needs.
const PREPARE = `\
__import__("sys").path[:] = [each for each in __import__("sys").path if each]
__import__("IPython").get_ipython().extension_manager.load_extension("gainlib.benches.kernel_start")`;

// anywidget gives a widget 2 s to be made. If the page was busy for longer, no message of the kernel ever reaches the widget
// again, though it is made a moment later: its bench would stay as it first was. One that is taken away before it is made
// ends in an error of the page as well. So its clock does not run; what comes for a widget waits until the widget is there.
const usualTimeout = AbortSignal.timeout.bind(AbortSignal);
AbortSignal.timeout = (milliseconds) => (
  /\/anywidget\//.test(new Error().stack) ? new AbortController().signal : usualTimeout(milliseconds)
);

let parts = null; // what is taken from JupyterLab, once it is there
let settings = null;

const given = (panel) => panel.context.model.getMetadata("gainlib") ?? {};
const codeCells = (panel) => panel.content.widgets.filter((each) => each.model.type === "code");
const tagged = (cell, tag) => (cell.model.getMetadata("tags") ?? []).includes(tag);
const outer = (panel) => panel.content.outerNode ?? panel.content.node;
const outputsOf = (cell) => cell.model.outputs?.toJSON() ?? [];
const shows = (cell) => cell.node.querySelector(":scope > .jp-Cell-outputWrapper");
const viewsOf = (cell) => outputsOf(cell).map((each) => each.data?.[VIEW]?.model_id).filter(Boolean);

// The code of all cells as one number; gainlib/page/lesson_code.py makes the same of a lesson's file.
async function digest(panel) {
  if (!window.crypto.subtle) return ""; // a page that is neither this computer's nor https has none
  const text = JSON.stringify(codeCells(panel).map((each) => each.model.sharedModel.getSource()));
  const bytes = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text));
  return [...new Uint8Array(bytes)].map((each) => each.toString(16).padStart(2, "0")).join("");
}

// The digests of the course's own code: those that the server names in its page's settings, and those that a build laid
// beside this script. No notebook reaches either. What Jupyter calls trusted tells nothing: a notebook without outputs is
// trusted once it was saved.
let laid = null;
async function known(code) {
  if (!code) return false;
  const named = JSON.parse(parts.PageConfig.getOption("gainlibDigests") || "[]");
  if ([...named, ...settings?.composite.accepted ?? []].includes(code)) return true;
  laid ??= fetch(new URL("digests.json", here)).then((answer) => (answer.ok ? answer.json() : [])).catch(() => []);
  return (await laid).includes(code);
}

// A page that opens one exercise of the course or of a class by its name, and does nothing else, runs whoever wrote it: an
// exercise is data. (gainlib/learners/exercise_pages.py writes such pages.)
const OPENS_AN_EXERCISE = /^import gainlib as gl\n\ngl\.exercise\("(?![^"]*\.toml")[^"\\\n]{1,200}"\)$/;
function onlyOpens(panel) {
  const cells = codeCells(panel);
  return cells.length === 1 && OPENS_AN_EXERCISE.test(cells[0].model.sharedModel.getSource());
}

async function accept(code) {
  if (!code || !settings || await known(code)) return;
  await settings.set("accepted", [...settings.composite.accepted, code].slice(-MOST_ACCEPTED));
}

// Whether all that these cells showed is there in the kernel, as when a page is loaded again.
async function alive(panel, saved) {
  const kernel = panel.sessionContext.session?.kernel;
  if (!kernel || !saved.size || codeCells(panel).some((each) => each.model.executionCount === null)) return false;
  const { content } = await kernel.requestCommInfo({ target_name: "jupyter.widget" });
  return [...saved.values()].flat().every((each) => !each.data?.[VIEW] || each.data[VIEW].model_id in (content.comms ?? {}));
}

// The line above a page, with its button where pressing it does something; "" takes the line away.
function say(panel, text, press = null, label = RUN) {
  panel.gainlibLine?.dispose();
  panel.gainlibLine = null;
  panel.gainlibTold = "";
  panel.removeClass("gainlib-page-told");
  if (!text) return;
  const line = panel.gainlibLine = new parts.Widget();
  line.addClass("gainlib-page-line");
  line.node.setAttribute("role", "status");
  line.node.append(Object.assign(document.createElement("span"), { textContent: text }));
  if (press) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: label });
    button.onclick = async () => {
      button.disabled = true;
      await press();
      button.disabled = false;
    };
    line.node.append(button);
  }
  panel.contentHeader.addWidget(line);
  // The notebook gives it the room that it says it needs, once.
  const { node } = line;
  requestAnimationFrame(() => {
    if (line.isDisposed) return;
    node.style.minHeight = `${node.scrollHeight}px`;
    panel.contentHeader.fit();
  });
}

// Keeps what stands at the window's upper edge there; gives back what puts it there again, unless the learner went on.
function stay(panel) {
  panel.gainlibMoved = false;
  const window_ = outer(panel);
  const edge = () => window_.getBoundingClientRect().top;
  const found = panel.content.widgets.find((each) => each.node.isConnected && each.node.getBoundingClientRect().bottom > edge());
  const before = found && found.node.getBoundingClientRect().top - edge();
  const top = window_.scrollTop;
  // From the middle of a page it is held for a while, since pictures above are drawn when a cell has long run.
  const back = (during = 0) => {
    if (panel.isDisposed || panel.gainlibMoved) return;
    if (!top || !found?.node.isConnected) window_.scrollTo({ top, behavior: "instant" });
    else window_.scrollBy({ top: found.node.getBoundingClientRect().top - edge() - before, behavior: "instant" });
    if (top && during > 0) setTimeout(() => back(during - 100), 100);
  };
  return back;
}

const MAKES_A_PICTURE = /\bgl\.(bench|exercise)\(/;
const LONGEST_PAINT_MS = 4000;
const HEARD_MS = 1000;
const MOST_KERNELS = 3;

// What is run at once: all down to the first picture, since the kernel then works while the page draws; after it cell by
// cell, so that a control that is moved, and whatever a picture asks the kernel for, is answered between two cells.
function turns(cells) {
  const first = cells.findIndex((each) => MAKES_A_PICTURE.test(each.model.sharedModel.getSource()));
  return first < 0 ? [cells] : [cells.slice(0, first + 1), ...cells.slice(first + 1).map((each) => [each])];
}

// When the first pictures stand, or it is seen that they will not soon: they may be out of sight.
async function painted(cell) {
  const latest = performance.now() + LONGEST_PAINT_MS;
  const stand = () => {
    const places = [...cell.node.querySelectorAll(".gainlib-place")];
    return places.length && places.every((each) => each.firstElementChild?.matches(":not(img)"));
  };
  while (viewsOf(cell).length && cell.node.isConnected && !stand() && performance.now() < latest) {
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

// Runs these cells from the top, one such run after the other. The window stays where it is, unless the learner goes
// somewhere meanwhile.
async function run(panel, cells, quietly = false) {
  while (panel.gainlibRuns) await panel.gainlibRuns;
  if (panel.isDisposed) return false;
  panel.gainlibRuns = runNow(panel, cells, quietly).finally(() => { panel.gainlibRuns = null; });
  return panel.gainlibRuns;
}

const prepare = (kernel) => kernel.requestExecute({ code: PREPARE, silent: true, store_history: false, stop_on_error: false });

// Whether a kernel that others ended or started anew is there, and the page hears it: what such a kernel says at first may
// be lost, and a cell whose end is lost is waited for for ever. So what goes before all cells is asked for until its end comes.
async function heard(kernel) {
  while (kernel && !kernel.isDisposed && kernel.status !== "dead") {
    const asked = prepare(kernel);
    const ended = asked.done.then(() => true, () => false);
    if (await Promise.race([ended, new Promise((resolve) => setTimeout(resolve, HEARD_MS))])) return true;
    asked.dispose();
  }
  return false;
}

async function runNow(panel, cells, quietly) {
  const { NotebookActions } = parts;
  const { content: notebook, context, sessionContext } = panel;
  const unchanged = !context.model.dirty;
  const back = stay(panel);
  let done = 0;
  const where = () => `${Math.min(done + 1, cells.length)} of ${cells.length}`;
  const told = () => panel.gainlibTold === "elsewhere"; // while it ran
  if (!quietly) say(panel, `The page is starting: ${where()}.`);
  const ran = (_, { cell }) => {
    if (!cells.includes(cell)) return;
    done++;
    if (!quietly && !told()) panel.gainlibLine?.node.firstChild.replaceChildren(`The page is starting: ${where()}.`);
    back();
  };
  NotebookActions.executed.connect(ran);
  const { kernel } = sessionContext.session ?? {};
  if (kernel && kernel.status !== "dead") prepare(kernel);
  // Not by the command that runs all: that makes the last cell the active one, and goes there.
  let well = true;
  for (const [index, turn] of turns(cells).entries()) {
    if (well) well = !panel.isDisposed && await NotebookActions.runCells(notebook, turn, sessionContext).catch(() => false);
    if (well && !index) await painted(turn.at(-1));
  }
  NotebookActions.executed.disconnect(ran);
  if (panel.isDisposed) return well;
  back(LOOKED_AFTER_MS);
  // That a page ran by itself is no change of the learner's, and no reason to save it.
  if (unchanged) context.model.dirty = false;
  if (told()) return well;
  if (!well) say(panel, `The page stopped at ${where()}; what stands there says why.`, () => begin(panel));
  else if (!quietly) say(panel, "");
  return well;
}

// The whole page, which goes on here and nowhere else from now on.
function begin(panel) {
  claim(panel);
  return run(panel, codeCells(panel));
}

// What a learner changes on a page of their own, and runs, is theirs: it runs by itself the next time.
function followChanges(panel) {
  panel.context.model.cells.changed.connect((_, { type, oldValues, newValues }) => {
    // All cells at once are another file, read from the disk.
    if (type === "clear" || oldValues.length > 1 || newValues.length > 1) panel.gainlibOwn = false;
  });
  parts.NotebookActions.executed.connect(async (_, { notebook, success }) => {
    if (notebook !== panel.content || panel.gainlibRuns) return;
    if (panel.gainlibOwn && success) await accept(await digest(panel));
  });
}

// What comes of a kernel on its channel, and is the server's word: whose session it is says nothing of the kernel's.
const SAID_BY_THE_SERVER = ["restarting", "dead"];

// That the kernel of a page is another one or gone, or that the page goes on elsewhere, stands once above it, in any
// notebook that shows something of ours; the panels of the page then keep silent.
function heed(panel) {
  const { sessionContext } = panel;
  const ours = () => panel.gainlibPage || panel.node.querySelector("[class*=gainlib-]:not([class*=gainlib-page])");
  const told = (what, text, press, label) => {
    if (panel.isDisposed || panel.gainlibTold === what || !ours()) return;
    say(panel, text, press, label);
    panel.gainlibTold = what;
    panel.addClass("gainlib-page-told");
  };
  let kernelSaid = "";
  const anew = () => {
    kernelSaid = "";
    if (!panel.gainlibRuns) told("anew", ANEW, async () => { if (await heard(sessionContext.session?.kernel)) await begin(panel); });
  };
  const gone = () => told("gone", GONE, async () => {
    const name = sessionContext.session?.kernel?.name || sessionContext.prevKernelName || "python3";
    await sessionContext.shutdown().catch(() => {}); // what the server knows no more cannot be given another kernel
    // A list of what runs that was asked for before the new kernel was there, and comes after, ends the page's way to it.
    for (let left = MOST_KERNELS; left > 0; left--) {
      const kernel = await sessionContext.changeKernel({ name }).catch(() => null);
      if (await heard(kernel)) return begin(panel);
    }
    return false;
  });
  panel.gainlibElsewhere = () => told("elsewhere", ELSEWHERE, () => begin(panel), TAKE_BACK);
  sessionContext.kernelChanged.connect((_, { oldValue, newValue }) => {
    kernelSaid = "";
    // A page that opens hears of a change from no kernel to none, before it has its first.
    if (oldValue && !newValue && !sessionContext.isDisposed) gone();
  });
  sessionContext.statusChanged.connect((_, status) => {
    if (["restarting", "autorestarting"].includes(status)) anew();
    if (["dead", "terminating"].includes(status)) gone();
  });
  // When it was ended or started anew by somebody else, its own messages say so.
  sessionContext.iopubMessage.connect((_, { header, content }) => {
    const { msg_type: kind, session: by } = header;
    const said = kind === "comm_msg" ? content.data?.content : null;
    if (said?.kind === "taken away" && said.by !== sessionContext.session?.kernel?.clientId) panel.gainlibElsewhere();
    if (kind === "shutdown_reply") (content.restart ? anew : gone)();
    if (SAID_BY_THE_SERVER.includes(content.execution_state)) return;
    if (kernelSaid && kernelSaid !== by) anew();
    kernelSaid = by;
  });
  parts.NotebookActions.executed.connect((_, { notebook }) => {
    if (notebook === panel.content && ["anew", "gone"].includes(panel.gainlibTold) && !panel.gainlibRuns) say(panel, "");
  });
}

// A lesson goes on in the page that was opened or run last; the others of this browser hear it at once, also where the
// last one only took up what was there. (Those of another browser hear it of the kernel, when it runs something.)
const pages = new BroadcastChannel("gainlib-page");
const placeOf = (panel) => parts.PageConfig.getBaseUrl() + panel.context.path;
const claim = (panel) => { if (panel.gainlibPage) pages.postMessage(placeOf(panel)); };
function giveWay(tracker) {
  pages.onmessage = ({ data }) => tracker.forEach((panel) => {
    if (!panel.gainlibPage || placeOf(panel) !== data) return;
    const unchanged = !panel.context.model.dirty;
    for (const each of codeCells(panel)) if (viewsOf(each).length) each.model.outputs.clear();
    if (unchanged) panel.context.model.dirty = false;
    panel.gainlibElsewhere();
  });
}

// Run All, alone or after a restart, leaves the window where it is, while the notebook's own way ends at the last cell.
function runAllInPlace(tracker) {
  const usual = parts.NotebookActions.runAll;
  parts.NotebookActions.runAll = async (notebook, ...others) => {
    const panel = tracker.find((each) => each.content === notebook);
    if (!panel?.gainlibPage) return usual(notebook, ...others);
    const well = await begin(panel);
    if (well && panel.gainlibOwn) await accept(await digest(panel));
    return well;
  };
}

// The way back: a button at the top of a page and a key, where the list of lessons lies beside it, or above the folder of
// what a teacher set.
const listOf = (panel) => panel.context.path.replace(/(?:set-by-your-teacher\/.*|[^/]*)$/, FIRST_PAGE);
async function offerContents(app, panel) {
  const place = listOf(panel);
  if (panel.context.path === place) return;
  const there = await app.serviceManager.contents.get(place, { content: false }).catch(() => null);
  if (!there || panel.isDisposed) return;
  panel.addClass("gainlib-page-listed");
  panel.toolbar.insertItem(0, "gainlib-contents", new parts.ToolbarButton({
    label: "Contents", tooltip: "Back to the list of lessons (Alt + C)", onClick: () => app.commands.execute(CONTENTS),
  }));
}

function wayBack(app, tracker) {
  app.commands.addCommand(CONTENTS, {
    label: "Contents of the course",
    isEnabled: () => Boolean(tracker.currentWidget?.hasClass("gainlib-page-listed")),
    execute: () => app.commands.execute("docmanager:open", { path: listOf(tracker.currentWidget) }),
  });
  app.commands.addKeyBinding({ command: CONTENTS, keys: ["Alt C"], selector: ".gainlib-page-listed" });
}

// Cells by their tags. The page's looks alone fold and hide; the notebook is not changed.
function look(panel) {
  const mark = () => panel.content.widgets.forEach((each) => {
    each.toggleClass("gainlib-page-tool", tagged(each, "tool"));
    each.toggleClass("gainlib-page-by-hand", tagged(each, "by-hand"));
  });
  mark();
  panel.context.model.cells.changed.connect(mark);
  panel.addClass("gainlib-page");
  if (!panel.content.widgets.some((each) => tagged(each, "tool"))) return;
  let shown = settings?.composite.showCode ?? false;
  const press = () => {
    shown = !shown;
    show();
    settings?.set("showCode", shown);
  };
  const button = new parts.ToolbarButton({ label: "Show the code", tooltip: "Show or hide the code that makes this page's tools", onClick: press });
  const show = () => {
    panel.toggleClass("gainlib-page-folded", !shown);
    const label = button.node.querySelector(".jp-ToolbarButtonComponent-label");
    if (label) label.textContent = shown ? "Hide the code" : "Show the code";
  };
  panel.toolbar.insertItem(0, "gainlib-code", button);
  show();
  button.renderPromise?.then(show);
  const follow = () => {
    shown = settings.composite.showCode;
    show();
  };
  settings?.changed.connect(follow);
  panel.disposed.connect(() => settings?.changed.disconnect(follow));
}

// What explains an answer comes with it: below a comparison that shows none yet, what these parts say waits. What a
// comparison says is read in the kernel's messages, since one that is out of sight is not made yet.
const COMPARES = /\bgl\.compare\(/;
const EXPLAINS = /^## (Read|Listen|In one breath)\b/;
function holdBack(panel) {
  const silent = new Map(); // by the comparison's model: whether it shows nothing yet
  const mark = () => {
    if (panel.isDisposed) return;
    let [waits, explains] = [false, false];
    for (const each of panel.content.widgets) {
      const text = each.model.sharedModel.getSource();
      const compares = each.model.type === "code" && COMPARES.test(text);
      if (each.model.type === "markdown" && /^## /.test(text)) explains = EXPLAINS.test(text);
      each.toggleClass("gainlib-page-waits", waits && explains && !compares);
      if (compares && viewsOf(each).some((id) => silent.get(id))) waits = true;
      each.toggleClass("gainlib-page-holds", waits && compares);
    }
  };
  panel.sessionContext.iopubMessage.connect((_, { content, header }) => {
    if (!header.msg_type.startsWith("comm_")) return;
    const { state, states = { [content.comm_id]: { state } } } = content.data ?? {};
    let news = false;
    for (const [id, told] of Object.entries(states)) {
      if (typeof told.state?.sentence !== "string") continue;
      silent.set(id, !told.state.sentence);
      news = true;
    }
    if (news) mark();
  });
  panel.context.model.cells.changed.connect(mark);
  parts.NotebookActions.executed.connect((_, { notebook }) => { if (notebook === panel.content) mark(); });
  return mark;
}

// What stands on the page goes along when the notebook is saved: each bench's sentence and pictures, for the day on
// which it is opened without its kernel.
function keepStills(panel) {
  let left = 0;
  const stillOf = (cell) => {
    const said = [...cell.node.querySelectorAll(".gainlib-headline-line")].map((each) => each.textContent);
    const pictures = [...cell.node.querySelectorAll(".gainlib-picture")].filter((each) => each.gainlibStill).map((each) => (
      { picture: each.gainlibStill, words: each.querySelector("[role=figure]")?.getAttribute("aria-label") ?? "" }));
    const room = JSON.stringify(pictures).length <= left;
    return said.length || pictures.length ? { said, pictures: room ? pictures : [] } : null;
  };
  panel.context.saveState.connect((_, state) => {
    if (state !== "started") return;
    left = MOST_STILL;
    for (const cell of codeCells(panel)) {
      const before = cell.model.getMetadata("gainlib") ?? {};
      const still = viewsOf(cell).length ? stillOf(cell) ?? before.still : null;
      left -= JSON.stringify(still)?.length ?? 0;
      if (JSON.stringify(still) === JSON.stringify(before.still ?? null)) continue;
      const { still: _old, ...others } = before;
      const now = still ? { ...others, still } : others;
      if (Object.keys(now).length) cell.model.setMetadata("gainlib", now);
      else cell.model.deleteMetadata("gainlib");
    }
  });
}

// What a cell showed when it was saved, until it shows something itself. A saved file may hold anything: words are put
// in as text, and a picture is a picture.
function showStill(cell) {
  const { said = [], pictures = [] } = cell.model.getMetadata("gainlib")?.still ?? {};
  const box = document.createElement("div");
  box.className = "gainlib-page-still";
  const put = (tag, properties) => box.append(Object.assign(document.createElement(tag), properties));
  for (const each of said) put("p", { textContent: String(each) });
  for (const { picture, words } of pictures) {
    if (String(picture).startsWith("data:image/png;base64,")) put("img", { src: picture, alt: String(words) });
  }
  put("p", { textContent: box.firstChild ? STILL : TO_COME });
  cell.node.append(box);
  const gone = () => {
    if (!cell.model.outputs.length) return;
    cell.model.outputs.changed.disconnect(gone);
    box.remove();
  };
  cell.model.outputs.changed.connect(gone);
}

// The top of what a cell shows is brought into sight, and held there while it is drawn.
function bringOutput(panel, cell, focused) {
  const latest = performance.now() + LOOKED_AFTER_MS;
  panel.gainlibMoved = false;
  const bring = () => {
    if (panel.isDisposed || panel.gainlibMoved) return;
    const box = shows(cell);
    if (box?.offsetHeight) {
      const window_ = outer(panel);
      const top = box.getBoundingClientRect().top - window_.getBoundingClientRect().top;
      const room = window_.clientHeight - Math.min(box.offsetHeight, window_.clientHeight * 0.75);
      if (top < 0 || top > room) window_.scrollBy({ top: top - 48, behavior: "instant" });
      if (focused && box.querySelector("input, button, select, textarea")) {
        // The next Tab then goes to the first control from above.
        box.tabIndex = -1;
        box.classList.add("gainlib-page-output");
        box.focus({ preventScroll: true });
        focused = false;
      }
    }
    if (performance.now() < latest) setTimeout(bring, 100);
  };
  requestAnimationFrame(() => setTimeout(bring, 50)); // after the notebook's own scrolling
}

function choose(panel, index) {
  const { content: notebook } = panel;
  notebook.deselectAll();
  notebook.mode = "command";
  notebook.activeCellIndex = index;
  notebook.widgets[index].node.focus({ preventScroll: true });
}

// On from what a cell shows: to the next cell, which runs where it is code.
async function goOn(panel, cell) {
  const { content: notebook, sessionContext } = panel;
  const next = notebook.widgets.slice(notebook.widgets.indexOf(cell) + 1).find((each) => !each.hasClass("gainlib-page-waits"));
  if (!next) return;
  choose(panel, notebook.widgets.indexOf(next));
  await notebook.scrollToItem(notebook.activeCellIndex, next.model.type === "code" ? "auto" : "start");
  if (next.model.type !== "code") return;
  await parts.NotebookActions.run(notebook, sessionContext);
  bringOutput(panel, next, true);
}

// A lesson ends where it ends: the empty cell that the notebook put behind its last one goes, once the notebook has
// made ready to write in it.
function dropLast(panel) {
  const { content: notebook } = panel;
  const drop = () => {
    const last = notebook.widgets.length - 1;
    if (panel.isDisposed || notebook.widgets[last].model.sharedModel.getSource()) return;
    notebook.mode = "command"; // before: a text that is chosen in the other mode is opened to be written
    notebook.model.sharedModel.deleteCell(last);
    choose(panel, last - 1);
  };
  const heard = () => {
    if (notebook.mode !== "edit") return;
    notebook.stateChanged.disconnect(heard);
    setTimeout(drop);
  };
  notebook.stateChanged.connect(heard);
  heard();
}

function steer(app, tracker) {
  const panelOf = (node) => tracker.find((each) => each.gainlibPage && each.node.contains(node));
  window.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.shiftKey || event.ctrlKey || event.altKey || event.metaKey) return;
    const panel = panelOf(event.target);
    const cell = panel && codeCells(panel).find((each) => shows(each)?.contains(event.target));
    if (!cell) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    event.target.blur(); // what was typed is taken
    void goOn(panel, cell);
  }, true);

  let added = null; // the cell that the notebook put behind the last one in this very moment
  const followed = new WeakSet();
  const follow = (panel) => {
    if (!panel?.gainlibPage || panel.isDisposed || followed.has(panel)) return;
    followed.add(panel);
    panel.context.model.cells.changed.connect((cells, { type, newIndex }) => {
      if (type !== "add" || newIndex !== cells.length - 1) return;
      added = cells.get(newIndex);
      queueMicrotask(() => { added = null; });
    });
  };
  let advances = false;
  app.commands.commandExecuted.connect((_, { id }) => {
    if (!id.startsWith("notebook:run-cell")) return;
    advances = id === "notebook:run-cell-and-select-next";
    const panel = tracker.currentWidget;
    const cells = panel?.context.model.cells;
    if (!advances || !panel.gainlibPage || !added || cells.get(cells.length - 1) !== added) return;
    dropLast(panel);
  });
  parts.NotebookActions.selectionExecuted.connect((_, { notebook, lastCell }) => {
    const panel = tracker.find((each) => each.content === notebook);
    if (panel?.gainlibPage && !panel.gainlibRuns && lastCell.model.type === "code") bringOutput(panel, lastCell, advances);
  });

  // A take of one's own has arrived: what stands below, up to the next heading, is made of it.
  window.addEventListener("gainlib-run-below", (event) => {
    const panel = panelOf(event.target);
    const all = panel?.content.widgets ?? [];
    const at = all.findIndex((each) => each.node.contains(event.target));
    if (at < 0) return;
    event.preventDefault();
    const below = all.slice(at + 1);
    const end = below.findIndex((each) => each.model.type === "markdown" && /^#/.test(each.model.sharedModel.getSource()));
    const cells = below.slice(0, end < 0 ? below.length : end).filter((each) => each.model.type === "code");
    if (cells.length) void run(panel, cells, true);
  });

  // A list of what was done is made again when one comes back to it.
  const comeBack = () => {
    const panel = tracker.currentWidget;
    if (document.hidden || !panel?.gainlibReady || !panel.gainlibOwn || !panel.isVisible) return;
    const cells = codeCells(panel).filter((each) => tagged(each, "again"));
    if (cells.length) void run(panel, cells, true);
  };
  document.addEventListener("visibilitychange", comeBack);
  // One has entered a class, or handed in; the page may still be starting.
  window.addEventListener("gainlib-class", () => tracker.currentWidget?.gainlibStarts?.then(comeBack));
  tracker.currentChanged.connect(comeBack);
  return follow;
}

async function open(app, panel, loaded) {
  await panel.context.ready;
  if (given(panel).lesson !== true) return;
  panel.gainlibPage = true;
  panel.gainlibReady = false;
  const mark = holdBack(panel);
  // At once, before anything of them is painted.
  const unchanged = !panel.context.model.dirty;
  const saved = new Map(codeCells(panel).filter((each) => viewsOf(each).length).map((each) => [each, outputsOf(each)]));
  for (const cell of saved.keys()) {
    cell.model.outputs.clear(); // and not by the notebook's own command, which would make the cell trusted
    showStill(cell);
  }
  if (unchanged) panel.context.model.dirty = false;
  await loaded;
  look(panel);
  void offerContents(app, panel);
  const code = await digest(panel);
  panel.gainlibOwn = onlyOpens(panel) || await known(code);
  for (const each of MOVES) {
    outer(panel).addEventListener(each, () => { panel.gainlibMoved = true; }, { passive: true, capture: true });
  }
  followChanges(panel);
  keepStills(panel);
  await panel.sessionContext.ready;
  if (await alive(panel, saved)) {
    claim(panel);
    for (const [cell, outputs] of saved) cell.model.outputs.fromJSON(outputs);
    mark();
    if (unchanged) panel.context.model.dirty = false;
  } else if (panel.gainlibOwn) await begin(panel);
  else {
    say(panel, code ? NOT_OURS : UNKNOWN, async () => {
      panel.gainlibOwn = true;
      await accept(code);
      await begin(panel);
    });
  }
  panel.gainlibReady = true;
}

let scope = null;
const shared = async (key) => (await Object.values(scope[key])[0].get())();

(window._JUPYTERLAB ??= {}).gainlib = {
  init(theirs) { scope = theirs; },
  async get() {
    const names = ["notebook", "apputils", "coreutils", "settingregistry"].map((each) => `@jupyterlab/${each}`);
    const [{ INotebookTracker, NotebookActions }, { ToolbarButton }, { PageConfig }, { ISettingRegistry }, { Widget }] =
      await Promise.all([...names, "@lumino/widgets"].map(shared));
    parts = { NotebookActions, ToolbarButton, PageConfig, Widget };
    const activate = async (app, tracker, registry) => {
      document.head.append(Object.assign(document.createElement("link"), { rel: "stylesheet", href: new URL("page.css", here) }));
      const loaded = registry?.load(PLUGIN).then((found) => { settings = found; }).catch(() => {}); // kept for this page then
      const follow = steer(app, tracker);
      wayBack(app, tracker);
      giveWay(tracker);
      runAllInPlace(tracker);
      const opened = async (panel) => {
        heed(panel);
        panel.gainlibStarts = open(app, panel, loaded)
          .catch((fault) => console.warn("gainlib: the page does not run by itself", fault));
        await panel.gainlibStarts;
        follow(panel);
      };
      tracker.forEach((each) => void opened(each));
      tracker.widgetAdded.connect((_, panel) => void opened(panel));
    };
    return () => ({
      __esModule: true,
      default: { id: PLUGIN, autoStart: true, requires: [INotebookTracker], optional: [ISettingRegistry], activate },
    });
  },
};
}
