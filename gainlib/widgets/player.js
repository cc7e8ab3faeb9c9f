// A loop player: versions are swapped while it sounds, in a crossfade at the place where it is.
import { alongRow, contexts, follow, make, microphone, players, tell, unfolding, whenInside } from "./shared.js";

const CROSSFADE = 0.02;
const FADE_IN = 0.5;
const SETTLED_MS = 400; // a move has ended when nothing was moved for this long
const TICKS_A_SECOND = 16; // all that moves with the sound is painted at once: each frame costs the whole page
const CALM_MS = 1000; // between two of them where the system asks for less motion
const ASK_SECONDS = 1; // between two questions how far the ear is behind, and before the first
const PATIENCE_TICKS = 2 * TICKS_A_SECOND;
const LEFT_MS = 300; // so long a player may stand nowhere while its bench is laid out anew
const NO_DEVICE = "No sound device answers. Plug in headphones or loudspeakers, or choose them in the computer’s sound settings; "
  + "then press Play again.";
const HEARD = "The microphone is open and would hear the loudspeakers. Put on headphones, then press Play again.";

export class Loop {
  constructor(context, ceiling) {
    this.context = context;
    this.ceiling = ceiling;
    this.volume = context.createGain();
    this.volume.gain.value = 0;
    this.limit = context.createWaveShaper();
    this.limit.curve = Loop.limited(ceiling);
    this.volume.connect(this.limit).connect(context.destination);
    this.level = 0;
    this.lead = context instanceof OfflineAudioContext ? 0 : 0.03;
    this.slots = {};
    this.gains = {};
    this.active = "after";
    this.voice = null;
    this.playing = false;
    this.startedAt = 0;
    this.startedFrom = 0;
    this.seconds = 0;
  }

  // The page's own ceiling, whatever the samples and gains are: straight up to it, flat beyond.
  static limited(ceiling) {
    const curve = new Float32Array(8193);
    for (let i = 0; i < curve.length; i++) {
      curve[i] = Math.max(-ceiling, Math.min(ceiling, (2 * i) / (curve.length - 1) - 1));
    }
    return curve;
  }

  // Planar 16-bit codes; the largest code is the ceiling.
  static decoded(context, bytes, channels, length, rate, ceiling) {
    const buffer = context.createBuffer(channels, length, rate);
    const codes = new Int16Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
    for (let channel = 0; channel < channels; channel++) {
      const samples = buffer.getChannelData(channel);
      for (let i = 0; i < length; i++) samples[i] = (codes[channel * length + i] / 32767) * ceiling;
    }
    return buffer;
  }

  // A version in which a part is renewed, from its sample `first` on and round the loop; at the part's ends the one goes over
  // into the other. By how many decibels the part became louder tells `louder`.
  static renewed(context, held, part, first) {
    const { numberOfChannels: channels, length, sampleRate } = held;
    const made = context.createBuffer(channels, length, sampleRate);
    const edge = Math.max(1, Math.min(Math.round(CROSSFADE * sampleRate), part.length >> 1));
    let [was, is] = [0, 0];
    for (let channel = 0; channel < channels; channel++) {
      const samples = made.getChannelData(channel);
      samples.set(held.getChannelData(channel));
      const fresh = part.getChannelData(channel);
      for (let i = 0; i < part.length; i++) {
        const at = (first + i) % length;
        was += samples[at] ** 2;
        is += fresh[i] ** 2;
        samples[at] += Math.min(1, (i + 1) / edge, (part.length - i) / edge) * (fresh[i] - samples[at]);
      }
    }
    return { made, louder: was > 0 && is > 0 ? 10 * Math.log10(is / was) : 0 };
  }

  // Times are whole samples, so that two versions are never a fraction of a sample apart.
  soon() {
    const rate = this.context.sampleRate;
    return Math.ceil((this.context.currentTime + this.lead) * rate) / rate;
  }

  position(at = this.context.currentTime) {
    if (!this.playing || !this.seconds) return this.startedFrom;
    return (this.startedFrom + Math.max(0, at - this.startedAt)) % this.seconds;
  }

  // By how many seconds the context's clock is ahead of the ear. Firefox asks its audio process and stands until that
  // answers; while a device is being started that process may itself wait for the page, and both stand for ever (seen on
  // Linux with PulseAudio on a busy machine). So it is asked when sound has gone out for a while, and seldom.
  asked() {
    const { context } = this;
    const stamp = context.getOutputTimestamp?.();
    const heard = stamp?.performanceTime > 0
      ? stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000
      : context.currentTime - (context.outputLatency || context.baseLatency || 0);
    return Math.max(0, context.currentTime - heard);
  }

  // The place that is heard now: the context's clock runs ahead of the ear by what its device holds.
  heard() {
    if (!this.playing || !this.seconds) return this.startedFrom;
    const { currentTime } = this.context;
    if (currentTime >= this.askAt) [this.ahead, this.askAt] = [this.asked(), currentTime + ASK_SECONDS];
    // A swap goes on from one place; before the sound began, or behind a leap, nothing newer is heard.
    const since = Math.max(currentTime - this.ahead, this.begunAt ?? 0) - this.startedAt;
    return (((this.startedFrom + since) % this.seconds) + this.seconds) % this.seconds;
  }

  gain(slot) {
    return this.gains[slot] ?? 1;
  }

  begin(buffer, at, from, fade) {
    const source = this.context.createBufferSource();
    const gain = this.context.createGain();
    const level = this.gain(this.active);
    source.buffer = buffer;
    source.loop = true;
    source.connect(gain).connect(this.volume);
    // The value must be 0 before the first scheduled point: a voice may start one sample early.
    gain.gain.value = fade ? 0 : level;
    gain.gain.setValueAtTime(fade ? 0 : level, at);
    if (fade) gain.gain.linearRampToValueAtTime(level, at + fade);
    source.start(at, from);
    return { source, gain, level };
  }

  end(voice, at, fade) {
    voice.gain.gain.cancelScheduledValues(at);
    voice.gain.gain.setValueAtTime(voice.level, at);
    voice.gain.gain.linearRampToValueAtTime(0, at + fade);
    voice.source.stop(at + fade + 0.005);
    voice.source.onended = () => voice.gain.disconnect();
  }

  hold(slot, buffer) {
    this.slots[slot] = buffer;
    if (this.playing && slot === this.active) this.swap();
  }

  // Swaps closer together than one crossfade are merged: the newest version wins.
  swap() {
    const buffer = this.slots[this.active];
    if (!buffer || !this.playing) return;
    const at = this.soon();
    if (at < (this.busyUntil ?? 0)) {
      this.timer ??= setTimeout(() => { this.timer = null; this.swap(); }, (this.busyUntil - at) * 1000 + 2);
      return;
    }
    const from = this.position(at) % buffer.duration;
    const voice = this.begin(buffer, at, from, CROSSFADE);
    if (this.voice) this.end(this.voice, at, CROSSFADE);
    Object.assign(this, { voice, startedAt: at, startedFrom: from, seconds: buffer.duration, busyUntil: at + CROSSFADE });
  }

  // To another place of the loop, in the same crossfade while it sounds.
  seek(seconds) {
    const buffer = this.slots[this.active];
    const to = Math.max(0, seconds) % (buffer?.duration || Infinity);
    if (!this.playing || !buffer) { this.startedFrom = to; return; }
    clearTimeout(this.timer);
    const at = Math.max(this.soon(), this.busyUntil ?? 0);
    this.timer = null;
    if (this.voice) this.end(this.voice, at, CROSSFADE);
    const voice = this.begin(buffer, at, to, CROSSFADE);
    Object.assign(this, { voice, startedAt: at, begunAt: at, startedFrom: to, seconds: buffer.duration,
      busyUntil: at + CROSSFADE });
  }

  choose(slot) {
    if (slot === this.active) return;
    this.active = slot;
    this.swap();
  }

  match(gains) {
    const changed = this.gain(this.active) !== (gains[this.active] ?? 1);
    this.gains = gains;
    if (changed) this.swap();
  }

  loud(level) {
    this.level = level;
    if (this.playing) this.towards(level, this.context.currentTime, 0.03);
  }

  // From wherever a fade has got to, without a jump.
  towards(level, at, pace) {
    const { gain } = this.volume;
    if (gain.cancelAndHoldAtTime) gain.cancelAndHoldAtTime(at);
    else gain.cancelScheduledValues(at);
    gain.setTargetAtTime(level, at, pace);
  }

  play() {
    const buffer = this.slots[this.active];
    if (!buffer || this.playing) return;
    const at = this.soon();
    this.startedFrom %= buffer.duration;
    this.voice = this.begin(buffer, at, this.startedFrom, CROSSFADE);
    this.volume.gain.cancelScheduledValues(0);
    this.volume.gain.setValueAtTime(0, at);
    this.volume.gain.linearRampToValueAtTime(this.level, at + FADE_IN);
    Object.assign(this, { startedAt: at, begunAt: at, seconds: buffer.duration, playing: true, busyUntil: at + CROSSFADE,
      ahead: this.context.baseLatency ?? 0, askAt: at + ASK_SECONDS });
  }

  pause() {
    if (!this.playing) return;
    const now = this.context.currentTime;
    this.startedFrom = this.position(now);
    this.towards(0, now, 0.01);
    this.voice.source.stop(now + 0.08);
    const { gain } = this.voice;
    this.voice.source.onended = () => gain.disconnect();
    this.voice = null;
    this.playing = false;
    clearTimeout(this.timer);
    this.timer = null;
  }

  close() {
    this.pause();
    this.slots = {};
    this.volume.disconnect();
    this.limit.disconnect();
  }
}

const plain = (name) => name.replace(/[-_]/g, " ");
const capital = (name) => plain(name).replace(/^./, (first) => first.toUpperCase());

function contextAt(rate) {
  if (!contexts.has(rate)) contexts.set(rate, new AudioContext({ sampleRate: rate, latencyHint: "interactive" }));
  return contexts.get(rate);
}

const amplitude = (db) => 10 ** (db / 20);

export default {
  initialize({ model }) {
    const uid = model.get("uid");
    const state = {
      loop: null, slot: model.get("slots")[0], matching: model.get("opens_matched"), volume: -20, wanting: false, start: 0, tap: model.get("tap"), to: null,
      show: new Set(),
    };
    players.set(uid, state);
    let db = model.get("gains");
    const gains = () =>
      Object.fromEntries(Object.entries(db).map(([slot, each]) => [slot, state.matching ? amplitude(each) : 1]));
    state.match = () => state.loop?.match(gains());
    const measured = () => { db = model.get("gains"); state.match(); };
    state.changed = () => state.show.forEach((each) => each());
    state.position = () => state.start + (state.loop?.heard() ?? 0);
    // Where the kernel may take the loop to be, for what it sends first.
    const place = () => (state.loop?.playing ? state.loop.position() : null);
    const loopFor = (rate) => {
      const context = contextAt(rate);
      if (state.loop?.context === context) return state.loop;
      const earlier = state.loop;
      if (earlier?.playing) state.wanting = true;
      state.loop = new Loop(context, model.get("ceiling"));
      state.loop.active = state.slot;
      state.loop.level = amplitude(state.volume);
      state.loop.startedFrom = earlier?.position() ?? 0;
      earlier?.close();
      return state.loop;
    };
    const arrived = (message, buffers) => {
      if (message.kind === "have") {
        if (state.wanting && message.slot === state.slot && state.loop?.slots[message.slot]) state.begin();
        return;
      }
      if (message.kind === "stop") state.stop();
      if (message.kind !== "samples") return;
      const loop = loopFor(message.rate_hz);
      const { channels, length, whole, rate_hz: rate } = message;
      const fresh = Loop.decoded(loop.context, buffers[0], channels, length, rate, model.get("ceiling"));
      const told = () => tell(model, { kind: "arrived", slot: message.slot, version: message.version, at: place() });
      if (length < whole) {
        // What is about to be heard of a new version; the rest follows, and with it what its level is matched by.
        const held = loop.slots[message.slot];
        const fits = message.tap === state.tap && message.start === state.start
          && held?.length === whole && held.numberOfChannels === channels && held.sampleRate === rate;
        if (fits) {
          const { made, louder } = Loop.renewed(loop.context, held, fresh, message.first);
          if (model.get("matching")) {
            const apart = db.after - db.before - louder;
            db = { before: Math.min(0, -apart), after: Math.min(0, apart) };
          }
          loop.gains = gains();
          loop.hold(message.slot, made);
        }
        return told();
      }
      db = message.gains;
      if (message.tap !== state.tap || message.start !== state.start) {
        // Another stage or another part: what is held of the one before does not belong beside it.
        const other = loop.active !== message.slot;
        loop.startedFrom = model.get("afresh") ? 0 : loop.position();
        if (message.start !== state.start) {
          state.to ??= state.start + loop.startedFrom;
          loop.startedFrom = 0;
        }
        loop.startedAt = loop.context.currentTime;
        loop.slots = {};
        Object.assign(state, { tap: message.tap, start: message.start });
        if (other && loop.playing) tell(model, { kind: "want", slot: loop.active });
      }
      // The gains first: the crossfade to the new samples begins at their own level.
      loop.gains = gains();
      loop.hold(message.slot, fresh);
      if (state.to !== null) {
        loop.seek(Math.max(0, state.to - state.start));
        state.to = null;
      }
      told();
      if (state.wanting && message.slot === state.slot) state.begin();
      state.changed();
    };
    state.begin = () => {
      state.wanting = false;
      for (const other of players.values()) if (other !== state) other.stop?.();
      state.loop.play();
      tell(model, { kind: "sounding", now: true, at: place() });
      state.changed();
    };
    state.stop = () => {
      state.wanting = false;
      if (!state.loop?.playing) return;
      state.loop.pause();
      tell(model, { kind: "sounding", now: false });
      state.changed();
    };
    state.seek = (seconds) => {
      const part = Math.min(model.get("longest"), model.get("seconds"));
      if (seconds < state.start || seconds >= state.start + part) {
        state.to = seconds;
        tell(model, { kind: "from", seconds });
      } else if (state.loop) {
        state.loop.seek(seconds - state.start);
        if (state.loop.playing) tell(model, { kind: "sounding", now: true, at: place() });
      } else state.to = seconds;
      state.changed();
    };
    const sought = ({ detail }) => { if (detail.channel === uid) state.seek(detail.seconds); };
    let timer = 0;
    const moved = () => {
      clearTimeout(timer);
      timer = setTimeout(() => tell(model, { kind: "ended" }), SETTLED_MS);
    };
    window.addEventListener("gainlib-seek", sought);
    model.on("msg:custom", arrived);
    model.on("change:gains", measured);
    model.on("change:moves", moved);
    tell(model, { kind: "hello" });
    moved();
    return () => {
      clearTimeout(timer);
      window.removeEventListener("gainlib-seek", sought);
      model.off("msg:custom", arrived);
      model.off("change:gains", measured);
      model.off("change:moves", moved);
      state.loop?.close();
      players.delete(uid);
    };
  },

  render({ model, el }) {
    const uid = model.get("uid");
    const state = players.get(uid);
    el.classList.add("gainlib-player");
    el.setAttribute("role", "toolbar");
    el.setAttribute("aria-label", "Player");
    const button = (text) => make("button", { type: "button", textContent: text });
    const labelled = (text, field) => make("label", { className: "gainlib-labelled" }, text, field);
    const play = button("Play");
    // Before and after the moves, or the candidates of a question.
    const slots = model.get("slots");
    const versions = slots.map((slot) => button(slot));
    const pair = slots.includes("before");
    // The keys are heard by the row that takes moves back, which stands where there is a before and after.
    if (pair) play.setAttribute("aria-keyshortcuts", "p");
    if (!pair) versions.forEach((each, index) => each.setAttribute("aria-label", `Hear ${slots[index]}`));
    const tap = make("select");
    const whose = make("span", { className: "gainlib-whose" });
    const seek = make("input", { type: "range", min: 0, step: 0.1, className: "gainlib-seek" });
    seek.setAttribute("aria-label", "Place in the recording");
    const time = make("span", { className: "gainlib-time" });
    const match = make("input", { type: "checkbox", checked: state.matching });
    const matched = make("span");
    const matchLabel = labelled(match, matched);
    // Only what is heard is folded down; a stage that is mono has no button.
    const mono = make("input", { type: "checkbox" });
    const monoSaid = make("span");
    const monoLabel = labelled(mono, monoSaid);
    const volume = make("input", { type: "range", min: -40, max: 0, step: 1, value: state.volume });
    const loud = make("span", { className: "gainlib-loud" });
    const volumeLabel = labelled("Volume", volume);
    volumeLabel.append(loud);
    const part = make("p", { className: "gainlib-part" });
    const deaf = make("p", { className: "gainlib-message", role: "alert", hidden: true });
    const caution = make("p", { className: "gainlib-caution", textContent: model.get("caution") });
    const remark = make("p", { className: "gainlib-remark", textContent: model.get("remark") });
    const several = slots.length > 1;
    const stages = pair || !(several || model.get("afresh")) ? [labelled("heard after", tap), whose] : [];
    // Where nothing moves no other row has the button that unfolds.
    const unfolds = pair ? null : unfolding();
    const now = make("div", { className: "gainlib-now" }, play, ...(several ? versions : []), seek, time);
    if (unfolds) now.append(unfolds.button);
    const more = make("div", { className: "gainlib-more" }, ...stages, ...(several ? [matchLabel] : []), monoLabel, volumeLabel);
    el.append(deaf, now, more, part, caution, ...(model.get("remark") ? [remark] : []));
    alongRow(el, play);

    const spoken = (db) => `${db < 0 ? "−" : ""}${Math.abs(db)} dB`;
    const show = () => {
      const playing = Boolean(state.loop?.playing);
      play.textContent = playing ? "Pause" : "Play";
      for (const [index, each] of versions.entries()) {
        const slot = slots[index];
        each.setAttribute("aria-pressed", String(state.slot === slot));
        if (!pair) continue;
        if (state.slot === slot) each.removeAttribute("aria-keyshortcuts");
        else each.setAttribute("aria-keyshortcuts", "q");
      }
      match.hidden = !model.get("matching");
      match.checked = state.matching;
      if (!model.get("matching")) matched.textContent = "each at its own level";
      else matched.textContent = state.matching
        ? `matched: ${model.get("matched") || "measured when the move ends"}` : "not matched in level";
      monoLabel.hidden = !model.get("stereo");
      mono.checked = model.get("mono");
      monoSaid.textContent = model.get("mono") ? model.get("fold") || "mono" : "in mono";
      volume.setAttribute("aria-valuetext", spoken(state.volume));
      loud.textContent = spoken(state.volume);
      const [seconds, longest, start] = ["seconds", "longest", "start"].map((name) => model.get(name));
      seek.max = seconds;
      part.hidden = seconds <= longest;
      part.textContent = `The player holds ${longest} s of the ${Math.round(seconds)} s at a time, now from ${Math.round(start)} s.`;
      place();
    };
    const choices = () => {
      // A group for each strip, in the order of the session: the buses and the main come last.
      const strips = new Map();
      for (const value of model.get("taps")) {
        const [strip, stage] = value.split("/");
        if (!strips.has(strip)) strips.set(strip, []);
        strips.get(strip).push(make("option", { value, text: capital(stage) }));
      }
      const groups = [...strips].map(([strip, stages]) => make("optgroup", { label: capital(strip) }, ...stages));
      tap.replaceChildren(...(groups.length > 1 ? groups : [...strips.values()].flat()));
      tap.value = model.get("tap");
      whose.textContent = groups.length > 1 ? `of ${plain(model.get("tap").split("/")[0])}` : "";
      show();
    };
    const place = () => {
      const seconds = state.to ?? state.position();
      time.textContent = `${seconds.toFixed(1)} s`;
      seek.value = seconds;
      seek.setAttribute("aria-valuetext", `${seconds.toFixed(1)} of ${model.get("seconds").toFixed(1)} seconds`);
    };
    play.onclick = async () => {
      if (state.loop?.playing) return state.stop();
      if (microphone.open && !microphone.warned) {
        microphone.warned = true;
        part.hidden = false;
        part.textContent = HEARD;
        return;
      }
      // Made and woken inside the click: a page may not start to sound by itself.
      state.wanting = true;
      state.context = contextAt(model.get("rate_hz"));
      await state.context.resume(); // for ever, where no device answers
      tell(model, { kind: "want", slot: state.slot });
    };
    const choose = (slot) => () => {
      state.slot = slot;
      if (!pair) tell(model, { kind: "choose", slot });
      if (state.loop) {
        if (!state.loop.slots[slot] && state.loop.playing) tell(model, { kind: "want", slot });
        state.loop.choose(slot);
      }
      changed();
    };
    versions.forEach((each, index) => { each.onclick = choose(slots[index]); });
    tap.onchange = () => tell(model, { kind: "tap", tap: tap.value });
    match.onchange = () => { state.matching = match.checked; state.match(); show(); };
    mono.onchange = () => {
      model.set("mono", mono.checked);
      model.save_changes();
      // What is held is the other kind: the version that sounds is asked for anew, the other one when it is chosen.
      if (state.loop) {
        for (const slot of slots) if (slot !== state.slot) delete state.loop.slots[slot];
        if (state.loop.playing) tell(model, { kind: "want", slot: state.slot });
      }
      show();
    };
    volume.oninput = () => { state.volume = Number(volume.value); state.loop?.loud(amplitude(state.volume)); show(); };
    seek.oninput = () => state.seek(Number(seek.value));
    let last = -1;
    let clock = -1;
    let still = 0;
    let ticks = 0;
    let toldAt = 0;
    const calm = matchMedia("(prefers-reduced-motion: reduce)");
    const moved = () => {
      [last, toldAt] = [state.to ?? state.position(), performance.now()];
      window.dispatchEvent(new CustomEvent("gainlib-position", { detail: { channel: uid, seconds: last } }));
    };
    const changed = () => { show(); moved(); };
    // Where nothing takes the samples the clock of the context stands, whatever it says of itself.
    const listen = () => {
      const now = state.context?.currentTime;
      still = now === clock && (state.wanting || state.loop?.playing) ? still + 1 : 0;
      clock = now;
      const words = still >= PATIENCE_TICKS ? NO_DEVICE : "";
      if (words === deaf.textContent) return;
      deaf.textContent = words;
      deaf.hidden = !words;
    };
    const timer = setInterval(() => {
      listen();
      if (state.position() === last || (calm.matches && state.loop?.playing && performance.now() - toldAt < CALM_MS)) return;
      // The figure a few times a second: each costs the whole page a layout.
      if (ticks++ % 4 === 0 || calm.matches || !state.loop?.playing) place();
      moved();
    }, 1000 / TICKS_A_SECOND);
    const stops = [
      whenInside(el, ".gainlib-bench", (found) => { state.bench = found; }),
      () => unfolds?.stop(),
      follow(model, ["matched", "seconds", "start", "stereo", "mono", "fold"], show),
      follow(model, ["tap", "taps"], choices),
    ];
    state.show.add(changed);
    choices();
    return () => {
      clearInterval(timer);
      stops.forEach((stop) => stop());
      state.show.delete(changed);
      // The notebook was closed, or the cell was deleted: its widgets live on in the kernel, but nobody could stop them.
      setTimeout(() => { if (!state.show.size) state.stop(); }, LEFT_MS);
    };
  },
};
