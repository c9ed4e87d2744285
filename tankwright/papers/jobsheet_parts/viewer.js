// A small viewer for the tank: light and hatching by piece, turned by mouse, touch and keys, pulled apart by a slider.
// Reads #tank-data (see tank_mesh.py), draws into #tank-canvas. Without WebGL2 the still pictures stay.
(() => {
  "use strict";
  const box = document.getElementById("tank-live");
  const data = document.getElementById("tank-data");
  if (!box || !data) return;
  const canvas = document.getElementById("tank-canvas");
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: true, preserveDrawingBuffer: true });
  if (!gl) return;

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  const tank = JSON.parse(data.textContent);
  const raw = new Uint16Array(bytes(tank.points));
  const face = tank.wide ? new Uint32Array(bytes(tank.faces)) : new Uint16Array(bytes(tank.faces));
  const largest = Math.max(...tank.span);
  const at = new Float32Array(raw.length); // metres of nothing: the longest side is 2 units, middle at 0
  for (let i = 0; i < raw.length; i++) {
    const k = i % 3;
    at[i] = ((raw[i] / 65535 - 0.5) * tank.span[k] * 2) / largest;
  }
  const mmPerUnit = largest / 2;

  // Light: each corner's normal is the mean of the faces around it, in its own piece, that turn less than 35 degrees.
  const faces = face.length / 3;
  const group = new Uint8Array(faces);
  tank.groups.reduce((first, g, k) => (group.fill(k, first, first + g.faces), first + g.faces), 0);
  const normal = new Float32Array(faces * 3);
  const around = new Map();
  const p = (i, k) => at[3 * face[i] + k];
  for (let f = 0; f < faces; f++) {
    const [a, b, c] = [3 * f, 3 * f + 1, 3 * f + 2];
    const u = [0, 1, 2].map((k) => p(b, k) - p(a, k));
    const v = [0, 1, 2].map((k) => p(c, k) - p(a, k));
    normal[3 * f] = u[1] * v[2] - u[2] * v[1];
    normal[3 * f + 1] = u[2] * v[0] - u[0] * v[2];
    normal[3 * f + 2] = u[0] * v[1] - u[1] * v[0];
    for (const i of [a, b, c]) {
      const list = around.get(face[i]);
      if (list) list.push(f);
      else around.set(face[i], [f]);
    }
  }
  const size = (f) => Math.hypot(normal[3 * f], normal[3 * f + 1], normal[3 * f + 2]) || 1e-12;
  const sizes = Float32Array.from({ length: faces }, (_, f) => size(f));
  const turnLess = Math.cos((35 * Math.PI) / 180);
  const corners = new Float32Array(faces * 21); // place 3, normal 3, piece 1, for three corners
  const middle = tank.groups.map(() => [0, 0, 0, 0, 0, 0, 0]); // area-weighted place and normal of each piece
  for (let f = 0; f < faces; f++) {
    for (let j = 0; j < 3; j++) {
      const v = face[3 * f + j];
      let n = [0, 0, 0];
      for (const g of around.get(v)) {
        if (group[g] !== group[f]) continue;
        let dot = 0;
        for (let k = 0; k < 3; k++) dot += normal[3 * g + k] * normal[3 * f + k];
        if (dot >= turnLess * sizes[g] * sizes[f]) for (let k = 0; k < 3; k++) n[k] += normal[3 * g + k];
      }
      const long = Math.hypot(...n) || 1;
      corners.set([at[3 * v], at[3 * v + 1], at[3 * v + 2], n[0] / long, n[1] / long, n[2] / long, group[f]], 21 * f + 7 * j);
      const m = middle[group[f]];
      for (let k = 0; k < 3; k++) {
        m[k] += (at[3 * v + k] * sizes[f]) / 3;
        m[3 + k] += normal[3 * f + k] / 3;
      }
      m[6] += sizes[f] / 3;
    }
  }
  // Ink lines: where two pieces meet, at sharp folds, and at open edges.
  const edges = new Map();
  const points = at.length / 3;
  for (let f = 0; f < faces; f++) {
    for (let j = 0; j < 3; j++) {
      const a = face[3 * f + j];
      const b = face[3 * f + ((j + 1) % 3)];
      const key = Math.min(a, b) * points + Math.max(a, b);
      const other = edges.get(key);
      if (other) other.push(f);
      else edges.set(key, [f, a, b]);
    }
  }
  const ink = [];
  const put = (v, f) => ink.push(at[3 * v], at[3 * v + 1], at[3 * v + 2], group[f]);
  for (const [f, a, b, g] of edges.values()) {
    const alone = g === undefined;
    let sharp = false;
    if (!alone) {
      let dot = 0;
      for (let k = 0; k < 3; k++) dot += normal[3 * f + k] * normal[3 * g + k];
      sharp = dot < turnLess * sizes[f] * sizes[g];
    }
    if (!(alone || sharp || group[f] !== group[g])) continue;
    put(a, f), put(b, f);
    if (!alone && group[f] !== group[g]) put(a, g), put(b, g);
  }

  // How far each piece moves when the tank is pulled apart: away from the middle, downwards if it has no side of its own.
  const anchor = middle.map((m) => m.slice(0, 3).map((v) => v / (m[6] || 1)));
  const outward = middle.map((m) => m.slice(3, 6).map((v) => v / (m[6] || 1)));
  const apart = anchor.map((c, g) => {
    const d = c.map((v, k) => v + 0.35 * outward[g][k]);
    const long = Math.hypot(...d);
    return long < 0.05 ? [0, 0, -0.5] : d.map((v) => (v / long) * Math.max(0.45, 0.75 * long));
  });
  // Labels sit on the piece itself: the middles of a few faces, the one nearest to its middle first.
  const spots = anchor.map((c, g) => {
    const mine = [];
    for (let f = 0; f < faces; f++) if (group[f] === g) mine.push(f);
    const step = Math.max(1, Math.floor(mine.length / 40));
    const at3 = (f) => [0, 1, 2].map((k) => (corners[21 * f + k] + corners[21 * f + 7 + k] + corners[21 * f + 14 + k]) / 3);
    const far = (q) => Math.hypot(q[0] - c[0], q[1] - c[1], q[2] - c[2]);
    return mine.filter((_, i) => i % step === 0).map((f) => ({ q: at3(f), n: [0, 1, 2].map((k) => normal[3 * f + k] / sizes[f]) }))
      .sort((a, b) => far(a.q) - far(b.q)).slice(0, 14);
  });
  // Whether anything stands between a place on a piece and the eye.
  const hidden = (q, eye, pull) => {
    for (let f = 0; f < faces; f++) {
      const o = apart[group[f]];
      const i = 21 * f;
      const a = [corners[i] + pull * o[0] - q[0], corners[i + 1] + pull * o[1] - q[1], corners[i + 2] + pull * o[2] - q[2]];
      const u = [corners[i + 7] - corners[i], corners[i + 8] - corners[i + 1], corners[i + 9] - corners[i + 2]];
      const v = [corners[i + 14] - corners[i], corners[i + 15] - corners[i + 1], corners[i + 16] - corners[i + 2]];
      const h = [eye[1] * v[2] - eye[2] * v[1], eye[2] * v[0] - eye[0] * v[2], eye[0] * v[1] - eye[1] * v[0]];
      const det = u[0] * h[0] + u[1] * h[1] + u[2] * h[2];
      if (Math.abs(det) < 1e-12) continue;
      const s = -(a[0] * h[0] + a[1] * h[1] + a[2] * h[2]) / det;
      if (s < 0 || s > 1) continue;
      const w = [-(a[1] * u[2] - a[2] * u[1]), -(a[2] * u[0] - a[0] * u[2]), -(a[0] * u[1] - a[1] * u[0])];
      const t = (eye[0] * w[0] + eye[1] * w[1] + eye[2] * w[2]) / det;
      if (t < 0 || s + t > 1) continue;
      if (-(v[0] * w[0] + v[1] * w[1] + v[2] * w[2]) / -det > 0.012) return true;
    }
    return false;
  };

  const count = tank.groups.length;
  const head = `#version 300 es
    precision highp float;
    uniform mat3 turn; uniform vec2 scale; uniform vec2 shift; uniform float pull; uniform vec3 apart[${count}];
    vec4 seen(vec3 p, float g) {
      vec3 q = turn * (p + pull * apart[int(g)]);
      return vec4(q.xy * scale + shift, -q.z * 0.2, 1.0);
    }`;
  const program = (vertex, fragment) => {
    const made = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(made, shader);
    }
    gl.linkProgram(made);
    return made;
  };
  const solid = program(
    `${head}
    in vec3 place; in vec3 normal; in float piece;
    out vec3 n; out vec3 world; flat out int g;
    void main() { n = turn * normal; world = place; g = int(piece); gl_Position = seen(place, piece); }`,
    `#version 300 es
    precision highp float;
    in vec3 n; in vec3 world; flat in int g; out vec4 colour;
    uniform vec4 hatch[${count}]; uniform vec3 tint[${count}]; uniform float dark;
    void main() {
      vec3 m = normalize(n);
      if (!gl_FrontFacing) m = -m;
      float light = clamp(dot(m, normalize(vec3(-0.35, 0.55, 0.75))), 0.0, 1.0);
      // Hatch as even planes through the piece: it turns with the metal.
      float s = dot(world, hatch[g].xyz) / hatch[g].w;
      float wide = fwidth(s);
      float stroke = abs(fract(s) - 0.5);
      float line = 1.0 - smoothstep(0.04, 0.04 + 1.4 * wide, 0.5 - stroke);
      line *= 1.0 - smoothstep(0.25, 0.6, wide);
      float shade = 0.72 + 0.28 * light;
      vec3 paper = tint[g] * shade;
      if (!gl_FrontFacing) paper *= 0.72;
      colour = vec4(mix(paper, vec3(0.12), line * mix(0.55, 0.2, light)), 1.0);
    }`,
  );
  const lines = program(
    `${head}
    in vec3 place; in float piece;
    void main() { gl_Position = seen(place, piece); gl_Position.z -= 0.0015; }`,
    `#version 300 es
    precision highp float; out vec4 colour; void main() { colour = vec4(0.07, 0.07, 0.08, 1.0); }`,
  );

  const buffer = (values) => {
    const made = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, made);
    gl.bufferData(gl.ARRAY_BUFFER, values, gl.STATIC_DRAW);
    return made;
  };
  const layout = (made, values, stride, fields) => {
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    buffer(values);
    for (const [name, length, offset] of fields) {
      const where = gl.getAttribLocation(made, name);
      if (where < 0) continue;
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, length, gl.FLOAT, false, 4 * stride, 4 * offset);
    }
    return array;
  };
  const body = layout(solid, corners, 7, [["place", 3, 0], ["normal", 3, 3], ["piece", 1, 6]]);
  const rims = layout(lines, new Float32Array(ink), 4, [["place", 3, 0], ["piece", 1, 3]]);

  // Pale washes, close in lightness: the hatch and the number tell pieces apart, colour only helps.
  const washes = [[0.96, 0.9, 0.76], [0.8, 0.89, 0.93], [0.88, 0.93, 0.8], [0.95, 0.83, 0.79], [0.87, 0.84, 0.94], [0.93, 0.92, 0.72], [0.78, 0.92, 0.87], [0.94, 0.86, 0.9]];
  // A direction along a piece: square to the way it faces, turned by an angle.
  const across = (facing, angle) => {
    const long = Math.hypot(...facing);
    const n = long > 0.15 ? facing.map((v) => v / long) : [0, 1, 0];
    const a = Math.abs(n[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0];
    const d = a[0] * n[0] + a[1] * n[1] + a[2] * n[2];
    const one = a.map((v, k) => v - d * n[k]);
    const size1 = Math.hypot(...one);
    const u = one.map((v) => v / size1);
    const w = [n[1] * u[2] - n[2] * u[1], n[2] * u[0] - n[0] * u[2], n[0] * u[1] - n[1] * u[0]];
    return u.map((v, k) => v * Math.cos(angle) + w[k] * Math.sin(angle));
  };
  const flat = (rows) => new Float32Array(rows.flat());
  const uniforms = {
    apart: flat(apart),
    hatch: flat(tank.groups.map((g, k) => [...across(outward[k], (g.hatch[0] * Math.PI) / 180), g.hatch[1] * 0.09])),
    tint: flat(tank.groups.map((_, k) => washes[k % washes.length])),
  };

  // Angles: around, degrees from straight behind; above, degrees up.
  const home = { around: -130, above: 28, zoom: 1, x: 0, y: 0 };
  const view = { ...home };
  const slider = document.getElementById("tank-pull");
  const labels = tank.groups.map((g) => {
    const made = document.createElement("span");
    made.className = "tag";
    made.textContent = g.label;
    box.querySelector(".stage").append(made);
    return made;
  });
  const axes = () => {
    const [a, e] = [(view.around * Math.PI) / 180, (view.above * Math.PI) / 180];
    const eye = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
    const right = [-Math.sin(a), Math.cos(a), 0];
    const up = [-Math.sin(e) * Math.cos(a), -Math.sin(e) * Math.sin(a), Math.cos(e)];
    return [right, up, eye];
  };
  // What must fit on the picture: corners of the faces of each piece, some of them where there are many.
  const some = tank.groups.map((g, k) => {
    const first = tank.groups.slice(0, k).reduce((n, h) => n + h.faces, 0);
    const step = Math.max(1, Math.floor(g.faces / 400));
    const made = [];
    for (let f = first; f < first + g.faces; f += step) made.push([corners[21 * f], corners[21 * f + 1], corners[21 * f + 2]]);
    return made;
  });
  const extent = (pull, right, up, ratio) => {
    const low = [9, 9, 9];
    const high = [-9, -9, -9];
    const span = [[9, -9], [9, -9]];
    some.forEach((list, g) => {
      for (const q of list) for (let k = 0; k < 3; k++) {
        low[k] = Math.min(low[k], q[k] + pull * apart[g][k]);
        high[k] = Math.max(high[k], q[k] + pull * apart[g][k]);
      }
    });
    const middle = low.map((v, k) => (v + high[k]) / 2);
    some.forEach((list, g) => {
      for (const v of list) {
        const q = v.map((c, k) => c + pull * apart[g][k] - middle[k]);
        [right, up].forEach((axis, i) => {
          const s = axis[0] * q[0] + axis[1] * q[1] + axis[2] * q[2];
          span[i] = [Math.min(span[i][0], s), Math.max(span[i][1], s)];
        });
      }
    });
    const reach = span.map((s) => Math.max(-s[0], s[1]));
    return { fit: 1 / Math.max(reach[0], reach[1] * ratio), middle };
  };
  let frame = null; // kept while the tank is turned, so that it keeps its size
  let waiting = false;
  let resting = 0;
  const chosen = [];
  const draw = () => {
    waiting = false;
    const sharp = Math.min(2, window.devicePixelRatio || 1);
    const [wide, high] = [canvas.clientWidth, canvas.clientHeight];
    if (!wide || !high) return;
    if (canvas.width !== Math.round(wide * sharp) || canvas.height !== Math.round(high * sharp)) {
      canvas.width = Math.round(wide * sharp);
      canvas.height = Math.round(high * sharp);
    }
    const pull = Number(slider.value) / 100;
    const [right, up, eye] = axes();
    if (!frame || frame.pull !== pull || frame.wide !== wide) frame = { ...extent(pull, right, up, wide / high), pull, wide };
    const fit = 0.9 * view.zoom * frame.fit;
    const scale = [fit, (fit * wide) / high];
    const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    const shift = [view.x - dot(right, frame.middle) * scale[0], view.y - dot(up, frame.middle) * scale[1]];
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const turn = new Float32Array([0, 1, 2].flatMap((k) => [right[k], up[k], eye[k]]));
    for (const [made, array, kind, number] of [[solid, body, gl.TRIANGLES, faces * 3], [lines, rims, gl.LINES, ink.length / 4]]) {
      gl.useProgram(made);
      const where = (name) => gl.getUniformLocation(made, name);
      gl.uniformMatrix3fv(where("turn"), false, turn);
      gl.uniform2fv(where("scale"), scale);
      gl.uniform2fv(where("shift"), shift);
      gl.uniform1f(where("pull"), pull);
      gl.uniform3fv(where("apart"), uniforms.apart);
      if (made === solid) {
        gl.uniform4fv(where("hatch"), uniforms.hatch);
        gl.uniform3fv(where("tint"), uniforms.tint);
      }
      gl.bindVertexArray(array);
      gl.drawArrays(kind, 0, number);
    }
    const where = (g, s) => {
      const q = s.q.map((v, k) => v + pull * apart[g][k]);
      return [dot(right, q) * scale[0] + shift[0], dot(up, q) * scale[1] + shift[1], q];
    };
    const show = (choose) => {
      const taken = [];
      spots.forEach((list, g) => {
        const label = labels[g];
        if (choose) chosen[g] = list.find((s) => Math.abs(dot(eye, s.n)) > 0.12 && !hidden(where(g, s)[2], eye, pull)) || null;
        const s = chosen[g];
        if (!s) return void (label.style.display = "none");
        const [x, y] = where(g, s);
        if (choose) {
          const [px, py] = [((x + 1) * wide) / 2, ((1 - y) * high) / 2];
          const fits = (text) => {
            const half = 5 + text.length * 3.6;
            const box = [px - half, py - 10, px + half, py + 10];
            if (taken.some((b) => box[0] < b[2] && b[0] < box[2] && box[1] < b[3] && b[1] < box[3])) return false;
            taken.push(box);
            return true;
          };
          const full = tank.groups[g].label;
          const text = [full, full.split(" ")[0]].find(fits);
          label.textContent = text || "";
        }
        const seen = label.textContent && Math.abs(x) < 0.98 && Math.abs(y) < 0.97;
        label.style.display = seen ? "block" : "none";
        label.style.left = `${(50 + 50 * x).toFixed(2)}%`;
        label.style.top = `${(50 - 50 * y).toFixed(2)}%`;
      });
    };
    // While it moves the words move with it; at rest they look for a place that is seen.
    show(!chosen.length);
    clearTimeout(resting);
    resting = setTimeout(() => show(true), 90);
    canvas.dataset.view = `${Math.round(view.around)} ${Math.round(view.above)} ${view.zoom.toFixed(2)} ${slider.value}`;
  };
  const redraw = () => {
    if (!waiting) {
      waiting = true;
      requestAnimationFrame(draw);
    }
  };
  const turnBy = (around, above) => {
    view.around -= around;
    view.above = Math.max(-89, Math.min(89, view.above + above));
    redraw();
  };
  const zoomBy = (factor) => {
    view.zoom = Math.max(0.5, Math.min(8, view.zoom * factor));
    redraw();
  };

  // One pointer turns, two pinch and move.
  const down = new Map();
  canvas.addEventListener("pointerdown", (e) => {
    down.set(e.pointerId, [e.clientX, e.clientY]);
    try { canvas.setPointerCapture(e.pointerId); } catch { /* a pointer that has gone already */ }
  });
  canvas.addEventListener("pointermove", (e) => {
    const last = down.get(e.pointerId);
    if (!last) return;
    const [dx, dy] = [e.clientX - last[0], e.clientY - last[1]];
    const other = [...down].find(([id]) => id !== e.pointerId);
    if (other) {
      const far = (q) => Math.hypot(q[0] - other[1][0], q[1] - other[1][1]) || 1;
      zoomBy(far([e.clientX, e.clientY]) / far(last));
      view.x += dx / canvas.clientWidth;
      view.y -= dy / canvas.clientHeight;
    } else if (e.shiftKey) {
      view.x += (2 * dx) / canvas.clientWidth;
      view.y -= (2 * dy) / canvas.clientHeight;
      redraw();
    } else {
      turnBy(dx * 0.45, dy * 0.45);
    }
    down.set(e.pointerId, [e.clientX, e.clientY]);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) canvas.addEventListener(end, (e) => down.delete(e.pointerId));
  // The wheel scrolls the page until the picture has been clicked or reached by Tab.
  canvas.addEventListener("wheel", (e) => {
    if (document.activeElement !== canvas && !e.ctrlKey) return;
    e.preventDefault();
    zoomBy(Math.exp(-e.deltaY * 0.0012));
  }, { passive: false });
  const keys = {
    ArrowLeft: () => turnBy(-6, 0), ArrowRight: () => turnBy(6, 0), ArrowUp: () => turnBy(0, 6), ArrowDown: () => turnBy(0, -6),
    "+": () => zoomBy(1.15), "=": () => zoomBy(1.15), "-": () => zoomBy(1 / 1.15),
    Home: () => look(home), 0: () => look(home),
  };
  const look = (wanted) => {
    Object.assign(view, home, wanted);
    frame = null;
    redraw();
  };
  canvas.addEventListener("keydown", (e) => {
    const act = keys[e.key];
    if (!act || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    act();
  });
  slider.addEventListener("input", redraw);
  for (const button of box.querySelectorAll("button[data-around]")) {
    button.addEventListener("click", () => look({ around: Number(button.dataset.around), above: Number(button.dataset.above) }));
  }
  for (const button of box.querySelectorAll("button[data-zoom]")) {
    button.addEventListener("click", () => zoomBy(Number(button.dataset.zoom)));
  }
  canvas.addEventListener("webglcontextlost", () => document.documentElement.classList.remove("live"));
  new ResizeObserver(redraw).observe(canvas);
  document.documentElement.classList.add("live");
  box.hidden = false;
  draw();
  canvas.dataset.mmPerUnit = mmPerUnit.toFixed(2);
})();
