// Records from the microphone, unprocessed where the browser allows it, and hands the take over in pieces.
import { bring, follow, make, microphone, players, runBelow, tell } from "./shared.js";

const PIECE_FRAMES = 1 << 18; // so many frames in one message, 2 MB in stereo: far below the 10 MB that a server takes
const UNDER_WAY = 2; // pieces: the page prepares the next while the kernel takes one
const GATHERED = 2048; // frames that the audio thread hands on at a time
const FULL = 32767 / 32768; // the highest code of a 16-bit converter: from there on a sample counts as clipped
const FLOOR_DB = -60;
const FALL_DB = 24; // a second: how quickly the bar comes down
const WISHED_HZ = 48000;
const SETTLE_SECONDS = 0.25; // what a device gives first is its start-up, no sound of the room
const BUSY_MS = 1500;
const LATE_MS = 250; // by so much a block may be late, and the clocks of computer and device apart, with nothing missing
const END_MS = 1000;

// On the audio thread: gathers what comes, and posts it with the frame at which it begins. A browser uses the same memory
// again, so it is copied; where nothing comes, what was gathered is posted, or two parts would be joined unseen.
const WORKLET = `
registerProcessor("gainlib-take", class extends AudioWorkletProcessor {
  constructor() {
    super();
    [this.on, this.parts, this.filled] = [true, null, 0];
    this.port.onmessage = () => { this.flush(); this.on = false; this.port.postMessage({ end: true }); };
  }
  flush() {
    if (this.filled) {
      const parts = this.parts.map((each) => each.slice(0, this.filled));
      this.port.postMessage({ parts, at: this.at, until: Date.now() }, parts.map((each) => each.buffer));
    }
    [this.parts, this.filled] = [null, 0];
  }
  process([input]) {
    if (!this.on) return false;
    const size = input[0]?.length ?? 0;
    if (!size) return this.flush(), true;
    if (this.parts && (this.parts.length !== input.length || this.filled + size > ${GATHERED})) this.flush();
    if (!this.parts) [this.parts, this.at] = [input.map(() => new Float32Array(${GATHERED})), currentFrame];
    input.forEach((each, index) => this.parts[index].set(each, this.filled));
    this.filled += size;
    return true;
  }
});`;

const REFUSED = {
  NotAllowedError: "The browser was not allowed to use the microphone. Allow it at the left of the address, then press Record again.",
  NotFoundError: "No microphone was found. Plug one in, then press Record again.",
  OverconstrainedError: "That input is not there any more. Choose another, then press Record again.",
  NotReadableError: "The microphone is in use by another program, or the system keeps it from the browser. Free it, then press Record again.",
};
const ONLY_SAFE = "A browser gives the microphone only to pages of this computer or by https. Open the course there.";
const WENT = "The microphone went away; what came until then is kept.";
const BUSY = "The kernel is busy. The take waits in this page and goes over when it is free: do not close the page.";
const DEAF = "No kernel hears this page, so the take could not be handed over. Save it as a file, or run this cell again: it is then taken.";
const STOPPED = "What was playing was stopped, so that the microphone does not hear it. With headphones on you may press Play again.";
const NOBODY = "Nobody listens: headphones are unplugged, and loudspeakers turned down.";
const FIRST = "Nothing is sent yet: do what stands above, and tick that nobody listens.";
const OVER = "The take goes over to the kernel.";
const MANY = 8; // pieces: what takes longer is told in percent
const NOTHING = "#"; // where a link leads that has no file yet
const LEAD_SECONDS = 0.3;
const TAIL_SECONDS = 1;
const READY = "The take stays on this computer, in the folder takes; nothing is sent anywhere.";

const db = (size) => (size > 0 ? 20 * Math.log10(size) : -Infinity);
const printed = (size) => (size > 0 ? `${db(size).toFixed(1).replace(/^-0.0$/, "0.0").replace("-", "−")} dBFS` : "−∞ dBFS");
const share = (level) => `${Math.max(0, Math.min(1, (level - FLOOR_DB) / -FLOOR_DB)) * 100}%`;

async function opened(take, device) {
  if (!navigator.mediaDevices?.getUserMedia) throw new Error(ONLY_SAFE);
  const audio = {
    echoCancellation: false, noiseSuppression: false, autoGainControl: false,
    channelCount: { ideal: 2 }, sampleRate: { ideal: WISHED_HZ }, ...(device ? { deviceId: { exact: device } } : {}),
  };
  take.stream = await navigator.mediaDevices.getUserMedia({ audio });
  const [track] = take.stream.getAudioTracks();
  take.settings = track.getSettings();
  const connected = async (rate) => {
    // Without a rate the context runs at that of the output, and the browser would bring the sound to it.
    take.context = new AudioContext(rate ? { sampleRate: rate } : {});
    const url = URL.createObjectURL(new Blob([WORKLET], { type: "text/javascript" }));
    await take.context.audioWorklet.addModule(url).finally(() => URL.revokeObjectURL(url));
    await take.context.resume();
    take.node = new AudioWorkletNode(take.context, "gainlib-take", { numberOfOutputs: 0, channelCountMode: "max" });
    return take.context.createMediaStreamSource(take.stream);
  };
  // A browser that does not tell the device's rate may refuse another one.
  const source = await connected(take.settings.sampleRate).catch(async (fault) => {
    if (fault.name !== "NotSupportedError") throw fault;
    await take.context.close();
    return connected(0);
  });
  return { track, source };
}

// Frames of a take as the kernel gets them: of the channels that were chosen, interleaved.
function interleaved(take, from, to) {
  const { channels } = take;
  const made = new Float32Array((to - from) * channels.length);
  for (const { parts, first } of take.gathered) {
    const [begin, end] = [Math.max(from, first), Math.min(to, first + parts[0].length)];
    if (begin >= end) continue;
    for (let index = 0; index < channels.length; index++) {
      const part = parts[channels[index]] ?? parts[0];
      for (let frame = begin, at = (begin - from) * channels.length + index; frame < end; frame++, at += channels.length) {
        made[at] = part[frame - first];
      }
    }
  }
  return made;
}

// A take as a file of the page's own, for the day on which no kernel takes it: a float WAV.
function fileOf(take) {
  const samples = interleaved(take, 0, take.frames);
  const head = new DataView(new ArrayBuffer(44));
  const text = (at, word) => [...word].forEach((each, index) => head.setUint8(at + index, each.charCodeAt(0)));
  const [count, rate] = [take.channels.length, take.context.sampleRate];
  ["RIFF", "WAVE", "fmt ", "data"].forEach((word, index) => text([0, 8, 12, 36][index], word));
  [[4, 36 + samples.byteLength], [16, 16], [24, rate], [28, rate * count * 4], [40, samples.byteLength]]
    .forEach(([at, value]) => head.setUint32(at, value, true));
  [[20, 3], [22, count], [32, count * 4], [34, 32]].forEach(([at, value]) => head.setUint16(at, value, true));
  return new Blob([head, samples], { type: "audio/wav" });
}

export default {
  render({ model, el }) {
    el.classList.add("gainlib-take");
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", "Record a take of your own");
    const button = make("button", { type: "button", className: "gainlib-take-button" });
    const inputs = make("select");
    const inputLabel = make("label", { className: "gainlib-labelled", hidden: true }, "Input", inputs);
    const which = make("select", {}, ...["both channels", "channel 1", "channel 2"].map((text, value) => make("option", { text, value })));
    const whichLabel = make("label", { className: "gainlib-labelled", hidden: true }, "Keep", which);
    const earlier = make("select");
    const earlierLabel = make("label", { className: "gainlib-labelled" }, model.get("below") ? "On the bench below" : "Your take", earlier);
    const again = make("button", { type: "button", textContent: "Keep it", hidden: true });
    const file = make("a", { textContent: "Save it as a file", href: NOTHING, download: "take.wav", hidden: true });
    const bar = make("div", { className: "gainlib-take-bar" });
    const held = make("div", { className: "gainlib-take-held", hidden: true });
    const marks = [-60, -50, -40, -30, -20, -10, 0].map((level) => make("span", { style: `left: ${share(level)}`, textContent: String(level).replace("-", "−") }));
    const meter = make("div", { className: "gainlib-take-meter", role: "meter", "aria-label": "Peak level",
      "aria-valuemin": FLOOR_DB, "aria-valuemax": 0, "aria-valuenow": FLOOR_DB }, bar, held);
    const scale = make("div", { className: "gainlib-take-scale", "aria-hidden": "true" }, ...marks, make("span", { className: "gainlib-take-unit", textContent: "dBFS" }));
    const figures = make("p", { className: "gainlib-take-figures" });
    const now = make("p", { role: "status", className: "gainlib-take-said" });
    const silenced = make("p", { role: "status", className: "gainlib-message", hidden: true });
    // Where a signal is sent while it records, through a chain that is measured.
    const sends = model.get("sends");
    const verb = sends ? "Measure" : "Record";
    const level = make("select", {}, ...(sends ? model.get("levels").map((text) => make("option", { text, value: text })) : []));
    const nobody = make("input", { type: "checkbox" });
    if (sends) {
      el.append(
        make("p", { className: "gainlib-message", textContent: model.get("caution") }),
        make("div", { className: "gainlib-take-row" },
          make("label", { className: "gainlib-labelled" }, nobody, NOBODY), make("label", { className: "gainlib-labelled" }, "Sent", level)),
      );
    }
    el.append(make("div", { className: "gainlib-take-row" }, button, inputLabel, whichLabel, earlierLabel, again, file), meter, scale, figures, now, silenced);

    let take = null; // what is being recorded, or waits to be handed over
    const say = (text) => { if (now.textContent !== text) now.textContent = text; };
    const show = () => {
      const recording = take && !take.ended;
      button.textContent = recording ? "Stop" : verb;
      button.setAttribute("aria-pressed", String(Boolean(recording)));
      for (const each of [inputs, which, earlier, level, nobody]) each.disabled = Boolean(take);
      const names = model.get("takes");
      earlierLabel.hidden = !names.length;
      earlier.replaceChildren(make("option", { value: "", text: model.get("below") ? "the file named there" : "none" }), ...names.map((each) => make("option", { value: each, text: each })));
      earlier.value = model.get("chosen");
      again.hidden = !model.get("unkept");
      if (!take && again.hidden && !file.hidden) free();
      if (!take) say(model.get("said") || (sends ? "" : READY));
    };
    const devices = async () => {
      const all = (await navigator.mediaDevices?.enumerateDevices?.().catch(() => [])) ?? [];
      const found = all.filter((each) => each.kind === "audioinput" && each.label && each.deviceId);
      inputLabel.hidden = found.length < 2;
      const before = inputs.value;
      inputs.replaceChildren(...found.map(({ deviceId: value, label: text }) => make("option", { value, text })));
      if (found.some((each) => each.deviceId === before)) inputs.value = before;
    };

    const leaving = (event) => event.preventDefault();
    const caution = (text) => Object.assign(silenced, { textContent: text, hidden: !text });
    const closed = () => {
      microphone.open = false;
      caution("");
      take?.stream?.getTracks().forEach((each) => each.stop());
      if (take?.context?.state !== "closed") take?.context?.close();
    };
    const free = () => {
      window.removeEventListener("beforeunload", leaving);
      file.hidden = true;
      URL.revokeObjectURL(file.href);
      file.href = NOTHING;
    };
    const done = () => {
      closed();
      take = null;
      free();
    };
    const draw = (size) => {
      const { context, room } = take;
      const seconds = take.frames / context.sampleRate;
      const longest = model.get("longest");
      const level = db(size);
      const time = performance.now();
      take.shown = Math.max(level, (take.shown ?? -Infinity) - (FALL_DB * (time - (take.drawnAt ?? time))) / 1000);
      take.drawnAt = time;
      bar.style.width = share(take.shown);
      held.hidden = !take.peak;
      held.style.left = share(db(take.peak));
      held.classList.toggle("gainlib-take-over", take.clipped > 0);
      meter.setAttribute("aria-valuenow", Math.max(FLOOR_DB, Math.min(0, take.shown)).toFixed(0));
      meter.setAttribute("aria-valuetext", `highest ${printed(take.peak)}, ${take.clipped} clipped`);
      take.quiet = seconds < room;
      const prompts = model.get("prompts");
      const at = prompts.findLastIndex(([from]) => from <= seconds);
      const next = prompts[at + 1];
      say(prompts[at][1]);
      const left = next ? `${Math.ceil(next[0] - seconds)} s more` : "";
      const told = `Highest peak ${printed(take.peak)} · clipped samples ${take.clipped} · ${seconds.toFixed(1)} s of ${longest} s`;
      figures.textContent = take.quiet ? left : [told, left].filter(Boolean).join(" · ");
    };
    const heard = ({ data }) => {
      if (!take || take.ended) return;
      if (data.end) return handOver();
      const { context, gathered } = take;
      const length = data.parts[0].length;
      const settles = take.skipped < SETTLE_SECONDS * context.sampleRate;
      if (settles) {
        take.skipped += length;
        return;
      }
      if (take.next !== undefined) take.lost += Math.max(0, data.at - take.next);
      take.next = data.at + length;
      take.from ??= data.until - (1000 * length) / context.sampleRate;
      take.until = data.until;
      whichLabel.hidden = sends || data.parts.length < 2;
      take.most = Math.max(take.most, data.parts.length);
      let size = 0;
      const wanted = take.wanted(data.parts);
      for (let frame = 0; frame < length; frame++) {
        const value = Math.max(...wanted.map((each) => Math.abs(each[frame])));
        if (value > size) size = value;
        if (value >= FULL) take.clipped++;
      }
      if (!take.frames) take.firstAt = data.at;
      gathered.push({ parts: data.parts, first: take.frames });
      take.frames += length;
      // A key or a mouse may be heard while one is quiet; the highest peak is that of what is played.
      if (!take.quiet) take.peak = Math.max(take.peak, size);
      draw(size);
      if (sends && !take.asked) {
        // Only now, so that what is sent begins inside of what is recorded.
        take.asked = true;
        tell(model, { kind: "signal", rate_hz: context.sampleRate, level: level.value });
      }
      if (take.ends && take.frames >= take.ends) return stop();
      if (take.frames < model.get("longest") * context.sampleRate) return;
      const [from, words] = model.get("prompts").at(-1);
      stop(from < model.get("longest") ? `It was ended at ${model.get("longest")} s, the longest that it may be.` : words);
    };
    const stop = (why = "") => {
      if (!take?.node || take.stopping) return;
      [take.stopping, take.why] = [true, why];
      take.node.port.postMessage("stop");
      setTimeout(handOver, END_MS); // an audio thread that stands answers nothing
    };
    // The page's own ceiling, whatever the kernel sends.
    const send = (frames, bytes) => {
      const { context } = take;
      const [rate, ceiling] = [context.sampleRate, model.get("ceiling")];
      const buffer = context.createBuffer(1, frames, rate);
      const given = new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
      buffer.copyToChannel(given.map((each) => Math.max(-ceiling, Math.min(ceiling, each || 0))), 0);
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(context.destination);
      const beganAt = Math.ceil((context.currentTime + LEAD_SECONDS) * rate);
      source.start(beganAt / rate);
      take.began = beganAt - take.firstAt;
      take.ends = take.began + frames + TAIL_SECONDS * rate;
    };
    const silence = () => {
      const sounding = [...players.values()].filter((each) => each.loop?.playing || each.wanting);
      for (const each of sounding) each.stop();
      if (sounding.length && !sends) caution(STOPPED);
    };
    const begin = async () => {
      if (sends && !nobody.checked) return say(FIRST);
      caution("");
      silence();
      const chosen = Number(which.value);
      take = {
        gathered: [], frames: 0, skipped: 0, peak: 0, clipped: 0, lost: 0, most: 1, quiet: true, room: model.get("room"),
        wanted: (parts) => (chosen ? [parts[chosen - 1] ?? parts[0]] : parts), chosen,
      };
      const mine = take;
      figures.textContent = "";
      show();
      bring(el); // the meter and what is asked for are below the button
      say("Waiting for the microphone. The browser asks whether this page may use it.");
      window.addEventListener("beforeunload", leaving);
      try {
        const { track, source } = await opened(take, inputs.value);
        if (take !== mine || mine.stopping) return; // the cell was run again meanwhile
        track.onended = () => stop(WENT); // unplugged, or taken away by the system
        track.onmute = () => say("The microphone is switched off, at itself or by the system. Switch it on.");
        take.node.port.onmessage = heard;
        take.node.onprocessorerror = () => stop(WENT);
        source.connect(take.node);
        silence(); // the browser may have asked for long
        Object.assign(microphone, { open: true, warned: Boolean(silenced.textContent) }); // the caution is said once
        void devices();
      } catch (fault) {
        done();
        show();
        say(REFUSED[fault.name] ?? fault.message);
      }
    };
    const handOver = () => {
      if (!take || take.ended) return;
      closed();
      take.ended = true;
      take.heard = take.frames;
      take.frames = Math.min(take.frames, Math.round(model.get("longest") * take.context.sampleRate));
      take.channels = take.chosen ? [take.chosen - 1] : [...Array(take.most).keys()];
      if (!take.frames) {
        const { why } = take;
        done();
        show();
        return say(why ? `${why} Nothing had come yet.` : "Nothing came from the microphone. Choose another input, then press Record again.");
      }
      // A browser whose computer is too busy may drop sound before this page sees any: time went on, and less came.
      const missing = take.until - take.from - (1000 * take.heard) / take.context.sampleRate;
      if (missing > LATE_MS) take.lost = Math.max(take.lost, Math.round((missing * take.context.sampleRate) / 1000));
      take.of = Math.ceil(take.frames / PIECE_FRAMES);
      bar.style.width = "0";
      show();
      say(OVER);
      goOn(0);
    };
    const offerFile = (why) => {
      say(`${take.why ? `${take.why} ` : ""}${why}`);
      file.hidden = false;
    };
    // Made when it is asked for: a long take is another 200 MB, and mostly the kernel is free again in a moment.
    file.onclick = () => {
      if (take && file.getAttribute("href") === NOTHING) file.href = URL.createObjectURL(fileOf(take));
    };
    // The take stays in the page until all of its pieces have arrived.
    const goOn = (from) => {
      [take.index, take.sent] = [from, from && take.sent];
      while (take?.ended && take.sent < Math.min(take.of, take.index + UNDER_WAY)) piece(take.sent++);
    };
    const piece = (index) => {
      const { of, channels, lost, settings, why, context } = take;
      const from = index * PIECE_FRAMES;
      const samples = interleaved(take, from, Math.min(take.frames, from + PIECE_FRAMES));
      const kept = ["echoCancellation", "noiseSuppression", "autoGainControl"].filter((each) => each in settings);
      const told = { kind: "piece", index, of, channels: channels.length, rate_hz: context.sampleRate, lost, why, began: take.began,
        settings: Object.fromEntries(kept.map((each) => [each, settings[each]])) };
      clearTimeout(take.timer);
      try {
        model.send(told, undefined, [samples.buffer]);
        take.timer = setTimeout(() => offerFile(BUSY), BUSY_MS);
      } catch {
        offerFile(DEAF);
      }
    };
    const arrived = ({ kind, pieces, frames, why }, buffers) => {
      if (kind === "chosen") return below();
      if (kind === "signal" && take && !take.stopping && !take.began) return send(frames, buffers[0]);
      if (kind === "no signal" && take && !take.ended) {
        done();
        show();
        return say(why);
      }
      if (kind !== "have" || !take?.ended || pieces !== take.index + 1) return;
      clearTimeout(take.timer);
      if (pieces < take.of) {
        if (take.of > MANY) {
          const share = Math.floor((100 * pieces) / take.of);
          bar.style.width = `${share}%`;
          say(`${OVER} ${share} % have arrived.`);
        }
        return goOn(pieces);
      }
      bar.style.width = "0";
      // What could not be written is lost with the kernel: the page gives it as a file until it is kept.
      const saved = model.get("unkept") ? URL.createObjectURL(fileOf(take)) : "";
      done();
      if (saved) {
        [file.href, file.hidden] = [saved, false];
        window.addEventListener("beforeunload", leaving);
      }
      show();
      below();
    };
    // What stands below is of the take before, or of the file that is named there.
    const below = () => {
      show();
      bring(el);
      if (sends) nobody.checked = false; // asked each time: somebody may have put the headphones back
      if (model.get("below") && !runBelow(el)) say(`${model.get("said")} Run the cell below to have it there: click into it and press Shift + Enter.`.trim());
    };
    button.onclick = () => {
      if (!take) return begin();
      if (!take.ended) return take.node ? stop() : undefined;
      return say("The take before has not arrived yet. It waits in this page.");
    };
    earlier.onchange = () => tell(model, { kind: "choose", name: earlier.value });
    again.onclick = () => tell(model, { kind: "keep" });
    const plugged = () => void devices();
    navigator.mediaDevices?.addEventListener?.("devicechange", plugged);
    model.on("msg:custom", arrived);
    const stops = follow(model, ["takes", "chosen", "said", "unkept"], show);
    void devices();
    // What the recorder before in this page could not hand over, its cell being run again.
    if (microphone.left) {
      take = microphone.left;
      microphone.left = null;
      window.addEventListener("beforeunload", leaving);
      goOn(0);
    }
    show();
    return () => {
      navigator.mediaDevices?.removeEventListener?.("devicechange", plugged);
      model.off("msg:custom", arrived);
      stops();
      if (!take?.frames) return done();
      const left = take;
      if (!left.ended) {
        Object.assign(left, { ended: true, why: "The cell was run again; what came until then is kept.", of: Math.ceil(left.frames / PIECE_FRAMES) });
        left.channels = left.chosen ? [left.chosen - 1] : [...Array(left.most).keys()];
      }
      done();
      clearTimeout(left.timer);
      microphone.left = left;
    };
  },
};
