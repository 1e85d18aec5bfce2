// Plays the sheet with plucked strings and shows what the hands do. No library, no network.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("arrangement").textContent);
  const notes = data.notes; // [onset, length, string, fret, midi, left, right, voice, slurred]
  const [ONSET, LENGTH, STRING, FRET, MIDI, LEFT, RIGHT, VOICE, SLURRED] =
    [...Array(9).keys()];
  const bars = data.bars; // {name, start, length, full, missing, pulse, swings}
  const end = bars.at(-1).start + bars.at(-1).length;
  const byId = (id) => document.getElementById(id);
  const svgElement = (tag, attributes, parent) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    parent?.append(element);
    return element;
  };

  // ---- Time: a moment of the page, in quarters, and when it is heard -------------------
  const barAt = (moment) => {
    let low = 0;
    let high = bars.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (bars[middle].start <= moment) low = middle; else high = middle - 1;
    }
    return low;
  };
  const swung = (moment) => {
    const bar = bars[barAt(moment)];
    if (!byId("swing")?.checked || !bar.swings) return moment;
    const origin = bar.start - bar.missing;
    const beat = origin + Math.floor(moment - origin);
    const inside = moment - beat;
    const turn = data.swing / (data.swing + 1);
    return beat + (inside <= 0.5 ? 2 * inside * turn : turn + (2 * inside - 1) * (1 - turn));
  };

  // In a ritardando a beat grows evenly to so many times its length.
  const heardAt = (moment) => {
    let late = 0;
    for (const [start, end] of data.slow) {
      const inside = Math.min(Math.max(moment - start, 0), end - start);
      late += (data.slowing - 1) * inside * inside / (2 * (end - start));
    }
    return swung(moment) + late;
  };

  // ---- Sound: a plucked string is a burst of noise in a delay line (Karplus, Strong 1983) ----
  let audio = null;
  let out = null;
  const buffers = new Map();
  const pluckedString = (midi) => {
    if (buffers.has(midi)) return buffers.get(midi);
    const rate = audio.sampleRate;
    const period = rate / (440 * 2 ** ((midi - 69) / 12)) - 0.5; // the average filter delays by half
    const size = Math.floor(period - 0.1);
    const rest = period - size;
    const tune = (1 - rest) / (1 + rest); // an all-pass filter for the part of a sample that is left
    const buffer = audio.createBuffer(1, Math.floor(2.8 * rate), rate);
    const wave = buffer.getChannelData(0);
    const line = new Float32Array(size);
    let seed = 1234567 + midi;
    let soft = 0;
    for (let i = 0; i < size; i += 1) {
      seed = (seed * 1103515245 + 12345) % 2147483648;
      soft += 0.55 * (seed / 1073741824 - 1 - soft); // a fingertip, not a pick
      line[i] = soft;
    }
    const loss = 0.9965 ** (110 / (440 * 2 ** ((midi - 69) / 12)));
    let before = 0;
    let passed = 0;
    let came = 0;
    for (let i = 0, at = 0; i < wave.length; i += 1, at = (at + 1) % size) {
      const sample = line[at];
      const average = loss * 0.5 * (sample + before);
      before = sample;
      passed = tune * average + came - tune * passed;
      came = average;
      line[at] = passed;
      wave[i] = sample;
    }
    buffers.set(midi, buffer);
    return buffer;
  };
  const sounding = new Map(); // string → {source, gain}
  const sources = new Set();
  const release = (voice, when, fade) => {
    voice.gain.gain.cancelScheduledValues(when);
    voice.gain.gain.setTargetAtTime(0, when, fade);
    voice.source.stop(when + 8 * fade);
  };
  const pluck = (note, when, seconds) => {
    const source = new AudioBufferSourceNode(audio, { buffer: pluckedString(note[MIDI]) });
    const loud = { melody: 1, bass: 0.8, inner: 0.6 }[note[VOICE]] * (note[SLURRED] ? 0.6 : 1);
    const gain = new GainNode(audio, { gain: loud });
    source.connect(gain).connect(out);
    const voice = { source, gain };
    const last = sounding.get(note[STRING]);
    if (last) release(last, when, 0.008); // a string sounds one note at a time
    sounding.set(note[STRING], voice);
    sources.add(source);
    source.onended = () => {
      sources.delete(source);
      if (sounding.get(note[STRING]) === voice) sounding.delete(note[STRING]);
    };
    source.start(when);
    gain.gain.setTargetAtTime(0, when + seconds + 0.05, 0.12);
  };
  const click = (when, first) => {
    const source = new OscillatorNode(audio, { frequency: first ? 1600 : 1100 });
    const gain = new GainNode(audio, { gain: 0.25 });
    gain.gain.setTargetAtTime(0, when + 0.01, 0.015);
    source.connect(gain).connect(out);
    sources.add(source);
    source.onended = () => sources.delete(source);
    source.start(when);
    source.stop(when + 0.15);
  };

  // ---- Playing ------------------------------------------------------------------------------
  const AHEAD = 0.2;
  const state = { playing: false, next: 0, passStart: 0, position: 0, timer: 0, passes: 0 };
  let loop = null; // [first bar, last bar]
  let queue = []; // what has been scheduled and is still to be shown
  const range = () => loop
    ? [bars[loop[0]].start, bars[loop[1]].start + bars[loop[1]].length] : [0, end];
  const secondsAQuarter = () => 60 / (Number(byId("tempo").value) * data.unit);
  const heard = (note) => {
    const wish = byId("hear").value;
    return wish === "all"
      || (wish === "thumb" && note[RIGHT] === "p")
      || (wish === "fingers" && note[RIGHT] !== "p")
      || (wish === "melody" && note[VOICE] === "melody");
  };
  const firstNoteFrom = (moment) => {
    const index = notes.findIndex((note) => note[ONSET] >= moment);
    return index < 0 ? notes.length : index;
  };
  const countIn = (when) => {
    const bar = bars[barAt(state.position)];
    const beats = Math.round((bar.full + (state.position === bar.start ? bar.missing : 0)) / bar.pulse);
    if (!byId("count").checked) return when;
    const pulse = bar.pulse * secondsAQuarter();
    const inBar = Math.round(bar.full / bar.pulse);
    for (let beat = 0; beat < beats; beat += 1) click(when + beat * pulse, beat % inBar === 0);
    return when + beats * pulse;
  };
  // A pass is one way through the loop (or the piece); its tempo stays what it was at its start
  // unless the slider is moved, which starts a new pass at the same place.
  const beginPass = (when) => {
    state.zeroTime = when;
    state.zeroBeat = heardAt(state.position);
    state.pace = secondsAQuarter();
    state.next = firstNoteFrom(state.position);
  };
  const timeOf = (moment) => state.zeroTime + (heardAt(moment) - state.zeroBeat) * state.pace;
  const schedule = () => {
    const horizon = audio.currentTime + AHEAD;
    const stop = range()[1];
    while (state.next < notes.length && notes[state.next][ONSET] < stop) {
      const note = notes[state.next];
      const when = timeOf(note[ONSET]);
      if (when > horizon) return;
      const until = timeOf(note[ONSET] + note[LENGTH]);
      if (heard(note)) pluck(note, when, until - when);
      queue.push([when, until, state.next]);
      state.next += 1;
    }
    const over = timeOf(stop);
    if (over > horizon) return;
    if (!loop) {
      if (audio.currentTime >= over) pause(true);
      return;
    }
    finishedPass();
    state.position = range()[0];
    beginPass(over);
  };
  const finishedPass = () => {
    state.passes += 1;
    const every = Number(byId("ladder").value);
    const tempo = byId("tempo");
    if (every && state.passes % every === 0 && Number(tempo.value) < data.target) {
      tempo.value = Math.min(data.target, Math.round(Number(tempo.value) * 1.05 + 0.5));
      showTempo();
    }
  };
  const play = async () => {
    audio ??= new AudioContext();
    if (!out) {
      const soft = new DynamicsCompressorNode(audio);
      out = new GainNode(audio, { gain: 0.6 });
      out.connect(soft).connect(audio.destination);
    }
    await audio.resume();
    const [from, to] = range();
    if (state.position < from || state.position >= to) state.position = from;
    state.playing = true;
    byId("play").textContent = "Pause";
    beginPass(countIn(audio.currentTime + 0.1));
    clearInterval(state.timer);
    state.timer = setInterval(schedule, 40);
    schedule();
    requestAnimationFrame(show);
  };
  const silence = () => {
    clearInterval(state.timer);
    for (const source of sources) source.stop();
    sources.clear();
    sounding.clear();
    queue = [];
  };
  const pause = (finished = false) => {
    if (!state.playing) return;
    state.playing = false;
    if (finished) state.position = range()[0];
    silence();
    byId("play").textContent = "Play";
    if (finished) mark([]);
  };
  const restart = () => {
    if (!state.playing) return;
    silence();
    beginPass(audio.currentTime + 0.05);
    state.timer = setInterval(schedule, 40);
  };

  // ---- What is seen -------------------------------------------------------------------------
  // A bar that is played twice is drawn once: places lead from what is played to what is drawn.
  const { notePlace, barPlace } = data;
  const placeOf = (index) => {
    const group = byId(`t-${notePlace[index]}`);
    const text = group?.querySelector("text");
    if (!text) return null;
    const system = group.closest("svg.sheet");
    return { system, wide: bounds(system)[2], x: Number(text.getAttribute("x")) };
  };
  const called = (bar) => (bars[bar].name === "0" ? "the pick-up" : `bar ${bars[bar].name}`);
  // The drawing says where its bars stand: nothing is measured, nothing laid out for it.
  const cursors = new Map();
  const bounds = (svg) => svg.querySelector("svg").getAttribute("viewBox").split(" ").map(Number);
  for (const svg of document.querySelectorAll("svg.sheet")) {
    const [, top, , height] = bounds(svg);
    const page = svg.querySelector(".page-margin");
    const added = document.createDocumentFragment();
    const span = `${top},${top + height}`;
    cursors.set(svg, svgElement("path", { class: "cursor", d: "", "data-span": span }, added));
    for (const group of svg.querySelectorAll("g.measure")) {
      const [left, right] = group.dataset.span.split(" ").map(Number);
      const played = barPlace.indexOf(Number(group.id.slice("b-".length)));
      svgElement("rect", {
        class: "bar", x: left, y: top, width: right - left, height,
        tabindex: 0, role: "button", "aria-pressed": "false", "data-bar": played,
        "aria-label": `Loop ${called(played)}`,
      }, added);
    }
    page.append(added);
  }
  const hits = [...document.querySelectorAll("rect.bar")];
  let marked = [];
  const light = (drawnNote, on) => {
    byId(`t-${drawnNote}`)?.classList.toggle("now", on);
    byId(`n-${drawnNote}`)?.classList.toggle("now", on);
  };
  const mark = (indices) => {
    for (const index of marked) light(notePlace[index], false);
    for (const index of indices) light(notePlace[index], true);
    marked = indices;
    drawHand(indices);
  };
  const moveCursor = (index) => {
    const place = placeOf(index);
    if (!place) return;
    for (const [svg, cursor] of cursors) {
      const [top, bottom] = cursor.dataset.span.split(",");
      cursor.setAttribute("d", svg === place.system ? `M${place.x},${top}V${bottom}` : "");
    }
    const frame = place.system.parentElement;
    if (frame.scrollWidth > frame.clientWidth) {
      const at = (place.x / place.wide) * frame.scrollWidth;
      if (at < frame.scrollLeft || at > frame.scrollLeft + 0.8 * frame.clientWidth) {
        frame.scrollLeft = at - 0.2 * frame.clientWidth;
      }
    }
    const seen = place.system.getBoundingClientRect();
    if (seen.bottom > innerHeight || seen.top < 0) {
      const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
      place.system.scrollIntoView({ block: "center", behavior: calm ? "auto" : "smooth" });
    }
  };
  let shownAt = -1;
  const show = () => {
    if (!state.playing) return;
    const now = audio.currentTime - (audio.outputLatency || 0);
    const held = queue.filter(([when, until]) => when <= now && now < until);
    const begun = queue.filter(([when]) => when <= now);
    if (begun.length) {
      const latest = begun.at(-1)[2];
      state.position = notes[latest][ONSET];
      if (latest !== shownAt || held.length !== marked.length) {
        shownAt = latest;
        moveCursor(latest);
        mark(held.map((entry) => entry[2]));
      }
    }
    queue = queue.filter(([, until]) => until > now - 0.5);
    requestAnimationFrame(show);
  };

  // ---- The fretting hand on a neck -----------------------------------------------------------
  const frets = Math.max(5, ...notes.map((note) => note[FRET])) + 1;
  const neck = byId("neck");
  const narrow = matchMedia("(max-width: 40rem)");
  let wide = 900;
  const GAP = 24;
  const fretX = (fret) => 60 + ((wide - 80) * (1 - 2 ** (-fret / 12))) / (1 - 2 ** (-frets / 12));
  const lefty = () => byId("left").checked;
  const atX = (x) => (lefty() ? wide - x : x);
  const drawNeck = () => {
    wide = narrow.matches ? 480 : 900; // finger numbers stay legible on a phone
    neck.replaceChildren();
    neck.setAttribute("viewBox", `0 0 ${wide} ${7 * GAP}`);
    for (let fret = 0; fret <= frets; fret += 1) {
      const x = atX(fretX(fret));
      svgElement("path", {
        d: `M${x},${GAP}V${6 * GAP}`, stroke: "currentColor", "stroke-width": fret ? 1 : 5,
      }, neck);
      if ([3, 5, 7, 9, 12].includes(fret)) {
        const middle = atX((fretX(fret - 1) + fretX(fret)) / 2);
        svgElement("text", {
          x: middle, y: 6.85 * GAP, "text-anchor": "middle", "font-size": 15, fill: "currentColor",
        }, neck).textContent = fret;
      }
    }
    for (let string = 1; string <= 6; string += 1) {
      svgElement("path", {
        d: `M${atX(60)},${string * GAP}H${atX(wide - 10)}`, stroke: "currentColor",
        "stroke-width": 0.6 + 0.3 * string,
      }, neck);
    }
    svgElement("g", { id: "hand" }, neck);
  };
  const drawHand = (indices) => {
    const hand = byId("hand");
    hand.replaceChildren();
    for (const note of indices.map((index) => notes[index])) {
      const fret = note[FRET];
      const x = atX(fret ? (fretX(fret - 1) + fretX(fret)) / 2 : 36);
      const y = note[STRING] * GAP;
      svgElement("circle", {
        cx: x, cy: y, r: 11, stroke: "currentColor", fill: fret ? "currentColor" : "none",
      }, hand);
      const text = svgElement("text", {
        x, y: y + 5.5, "text-anchor": "middle", "font-size": 16, "font-weight": "bold",
        class: fret ? "dot-number" : "", fill: "currentColor",
      }, hand);
      text.textContent = note[LEFT];
    }
  };

  // ---- Controls -----------------------------------------------------------------------------
  const say = (text) => { byId("said").textContent = text; };
  const showTempo = () => { byId("tempo-said").textContent = `${data.beat} = ${byId("tempo").value}`; };
  const showLoop = () => {
    for (const hit of hits) {
      const index = Number(hit.dataset.bar);
      const inside = Boolean(loop) && barPlace.some(
        (place, bar) => place === barPlace[index] && loop[0] <= bar && bar <= loop[1],
      );
      hit.classList.toggle("in-loop", inside);
      hit.setAttribute("aria-pressed", String(inside));
    }
    byId("clear").disabled = !loop;
    if (!loop) say("Click a bar to loop it, a later bar to loop up to it.");
    else if (loop[0] === loop[1]) say(`Looping ${called(loop[0])}.`);
    else if (called(loop[0]).startsWith("bar")) {
      say(`Looping bars ${bars[loop[0]].name} to ${bars[loop[1]].name}.`);
    } else say(`Looping ${called(loop[0])} to ${called(loop[1])}.`);
  };
  const choose = (index) => {
    if (loop && loop[0] === loop[1] && index > loop[0]) loop = [loop[0], index];
    else loop = loop && loop[0] === index && loop[1] === index ? null : [index, index];
    state.passes = 0;
    state.position = loop ? range()[0] : bars[index].start;
    showLoop();
    offer(index);
    restart();
  };
  for (const hit of hits) {
    hit.addEventListener("click", () => choose(Number(hit.dataset.bar)));
    hit.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      event.stopPropagation();
      choose(Number(hit.dataset.bar));
    });
  }
  // ---- Other ways to play a bar ---------------------------------------------------------------
  const offers = [...document.querySelectorAll("details.others")];
  const offer = (index) => {
    const names = new Set([index]);
    barPlace.forEach((place, bar) => { if (place === barPlace[index]) names.add(bar); });
    for (const offered of offers) {
      offered.open = [...names].some((bar) => bars[bar].name === offered.dataset.bar);
    }
  };
  const copied = (button) => {
    const before = button.textContent;
    button.textContent = "Copied";
    setTimeout(() => { button.textContent = before; }, 1500);
  };
  for (const button of document.querySelectorAll("button.copy")) {
    button.addEventListener("click", async () => {
      const lines = button.nextElementSibling;
      try {
        await navigator.clipboard.writeText(lines.textContent);
      } catch {
        // A page from disk may not reach the clipboard: the lines are marked for the keyboard.
        getSelection().selectAllChildren(lines);
        document.execCommand("copy");
      }
      copied(button);
    });
  }
  const named = (name) => bars.findIndex((bar) => bar.name === name);
  for (const button of document.querySelectorAll("button.loop")) {
    button.addEventListener("click", () => {
      loop = [named(button.dataset.from), named(button.dataset.to)];
      state.passes = 0;
      state.position = range()[0];
      showLoop();
      restart();
      hits.find((hit) => barPlace[Number(hit.dataset.bar)] === barPlace[loop[0]])
        ?.closest(".system").scrollIntoView({ block: "center" });
    });
  }
  byId("play").addEventListener("click", () => (state.playing ? pause() : play()));
  byId("clear").addEventListener("click", () => { loop = null; showLoop(); restart(); });
  byId("tempo").addEventListener("input", () => { showTempo(); restart(); });
  byId("swing")?.addEventListener("change", restart);
  byId("hear").addEventListener("change", restart);
  const drawAnew = () => {
    drawNeck();
    drawHand(marked);
  };
  byId("left").addEventListener("change", () => {
    document.body.classList.toggle("lefty", lefty());
    drawAnew();
  });
  narrow.addEventListener("change", drawAnew);
  document.addEventListener("keydown", (event) => {
    if (event.key !== " " || event.target.closest("button, select, input, rect, summary")) return;
    event.preventDefault();
    byId("play").click();
  });
  drawNeck();
  showTempo();
  showLoop();
})();
