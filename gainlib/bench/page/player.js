// A loop player: versions are swapped while it sounds, in a crossfade at the place where it is.
const page = (window.gainlib ??= {});
page.players ??= new Map();
page.contexts ??= new Map();

const CROSSFADE = 0.02;
const FADE_IN = 0.5;

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

  // Times are whole samples, so that two versions are never a fraction of a sample apart.
  soon() {
    const rate = this.context.sampleRate;
    return Math.ceil((this.context.currentTime + this.lead) * rate) / rate;
  }

  position(at = this.context.currentTime) {
    if (!this.playing || !this.seconds) return this.startedFrom;
    return (this.startedFrom + Math.max(0, at - this.startedAt)) % this.seconds;
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
    if (this.playing) this.volume.gain.setTargetAtTime(level, this.context.currentTime, 0.03);
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
    Object.assign(this, { startedAt: at, seconds: buffer.duration, playing: true, busyUntil: at + CROSSFADE });
  }

  pause() {
    if (!this.playing) return;
    const now = this.context.currentTime;
    this.startedFrom = this.position(now);
    // Taken down by the volume, which is wherever its fade has got to.
    this.volume.gain.cancelScheduledValues(now);
    this.volume.gain.setTargetAtTime(0, now, 0.01);
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

function contextAt(rate) {
  if (!page.contexts.has(rate)) {
    page.contexts.set(rate, new AudioContext({ sampleRate: rate, latencyHint: "interactive" }));
  }
  return page.contexts.get(rate);
}

const amplitude = (db) => 10 ** (db / 20);

export default {
  initialize({ model }) {
    const uid = model.get("uid");
    const state = { loop: null, slot: "after", matching: true, volume: -6, wanting: false, show: new Set() };
    page.players.set(uid, state);
    const gains = () => {
      const db = model.get("gains");
      return Object.fromEntries(Object.entries(db).map(([slot, each]) => [slot, state.matching ? amplitude(each) : 1]));
    };
    state.match = () => state.loop?.match(gains());
    state.changed = () => state.show.forEach((each) => each());
    const arrived = (message, buffers) => {
      if (message.kind !== "samples") return;
      const context = contextAt(message.rate_hz);
      if (!state.loop || state.loop.context !== context) {
        state.loop?.close();
        state.loop = new Loop(context, model.get("ceiling"));
        state.loop.active = state.slot;
        state.loop.level = amplitude(state.volume);
        state.loop.gains = gains();
      }
      const { channels, length, rate_hz: rate } = message;
      state.loop.hold(message.slot, Loop.decoded(context, buffers[0], channels, length, rate, model.get("ceiling")));
      model.send({ kind: "arrived", slot: message.slot, version: message.version });
      if (state.wanting && message.slot === state.slot) state.start();
      state.changed();
    };
    state.start = () => {
      state.wanting = false;
      for (const other of page.players.values()) if (other !== state) other.stop?.();
      state.loop.play();
      model.send({ kind: "sounding", now: true });
      state.changed();
    };
    state.stop = () => {
      state.wanting = false;
      if (!state.loop?.playing) return;
      state.loop.pause();
      model.send({ kind: "sounding", now: false });
      state.changed();
    };
    model.on("msg:custom", arrived);
    model.on("change:gains", state.match);
    model.send({ kind: "hello" });
    return () => {
      model.off("msg:custom", arrived);
      model.off("change:gains", state.match);
      state.loop?.close();
      page.players.delete(uid);
    };
  },

  render({ model, el }) {
    const uid = model.get("uid");
    const state = page.players.get(uid);
    const make = (tag, props) => Object.assign(document.createElement(tag), props);
    el.classList.add("gainlib-player");
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", "Player");
    const button = (text) => make("button", { type: "button", textContent: text });
    const play = button("Play");
    const after = button("after");
    const before = button("before");
    const time = make("span", { className: "gainlib-time" });
    const matchLabel = make("label", { className: "gainlib-match" });
    const match = make("input", { type: "checkbox", checked: state.matching });
    const matched = make("span", {});
    matchLabel.append(match, matched);
    const volumeLabel = make("label", { className: "gainlib-volume", textContent: "Volume" });
    const volume = make("input", { type: "range", min: -40, max: 0, step: 1, value: state.volume });
    volumeLabel.append(volume);
    const reset = button("Reset");
    reset.title = "Every control back to where it started";
    const caution = make("p", { className: "gainlib-caution", textContent: model.get("caution") });
    const row = make("div", { className: "gainlib-player-row" });
    const quiet = make("div", { className: "gainlib-player-row" });
    for (const each of [play, after, before, match, volume, reset]) {
      each.setAttribute("data-lm-suppress-shortcuts", "true");
    }
    row.append(play, after, before, time, matchLabel, reset);
    quiet.append(volumeLabel, caution);
    el.append(row, quiet);

    const show = () => {
      const playing = Boolean(state.loop?.playing);
      play.textContent = `${playing ? "Pause" : "Play"}, heard at the ${model.get("heard")}`;
      after.setAttribute("aria-pressed", String(state.slot === "after"));
      before.setAttribute("aria-pressed", String(state.slot === "before"));
      matched.textContent = state.matching ? `matched: ${model.get("matched")}` : "not matched in level";
      const db = state.volume;
      volume.setAttribute("aria-valuetext", `${db < 0 ? "−" : ""}${Math.abs(db)} dB`);
      volume.title = `${db < 0 ? "−" : ""}${Math.abs(db)} dB`;
    };
    play.onclick = async () => {
      if (state.loop?.playing) return state.stop();
      // Made and woken inside the click: a page may not start to sound by itself.
      state.wanting = true;
      await contextAt(model.get("rate_hz")).resume();
      model.send({ kind: "want", slot: state.slot });
      if (state.loop?.slots[state.slot]) state.start();
    };
    const choose = (slot) => () => {
      state.slot = slot;
      if (state.loop) {
        if (!state.loop.slots[slot] && state.loop.playing) model.send({ kind: "want", slot });
        state.loop.choose(slot);
      }
      show();
    };
    after.onclick = choose("after");
    before.onclick = choose("before");
    match.onchange = () => { state.matching = match.checked; state.match(); show(); };
    volume.oninput = () => { state.volume = Number(volume.value); state.loop?.loud(amplitude(state.volume)); show(); };
    reset.onclick = () => model.send({ kind: "reset" });
    let last = -1;
    const timer = setInterval(() => {
      const seconds = state.loop?.position() ?? 0;
      if (seconds === last) return;
      last = seconds;
      time.textContent = `${seconds.toFixed(1)} s`;
      if (state.loop) window.dispatchEvent(new CustomEvent("gainlib-position", { detail: { channel: uid, seconds } }));
    }, 1000 / 15);
    const followed = ["heard", "matched"];
    followed.forEach((name) => model.on(`change:${name}`, show));
    state.show.add(show);
    show();
    return () => {
      clearInterval(timer);
      state.show.delete(show);
      followed.forEach((name) => model.off(`change:${name}`, show));
    };
  },
};
