// A picture with four numbered handles, or with patches to choose; in pixels of the large picture.
export default {
  template: `
    <div class="scan-view">
      <div class="buttons">
        <button type="button" class="button" @click="zoom *= 1.4">Larger</button>
        <button type="button" class="button" @click="zoom = Math.max(1, zoom / 1.4)">Smaller</button>
        <button type="button" class="button" v-if="marking" @click="placed = []; told()">Set the marks anew</button>
        <button type="button" class="button" v-if="marking && placed.length < 4" @click="byKeys">Set the next mark with the keys</button>
      </div>
      <p v-if="marking" role="status">{{ said }}</p>
      <div class="scan-window">
        <svg :viewBox="'0 0 ' + width + ' ' + height" :style="{ width: zoom * 100 + '%' }"
             role="group" :aria-label="label" @click="clicked" @pointermove="moved"
             @pointerup="held = null" @pointerleave="held = null">
          <image :href="url" :width="width" :height="height" />
          <polygon v-for="patch in patches" :points="patch.points" tabindex="0" role="checkbox"
                   :aria-checked="patch.out ? 'true' : 'false'"
                   :aria-label="'leave out patch ' + patch.name"
                   :class="['patch', { out: patch.out, doubtful: patch.doubtful }]"
                   @click.stop="$emit('patch', { name: patch.name })"
                   @keydown.enter.prevent="$emit('patch', { name: patch.name })"
                   @keydown.space.prevent="$emit('patch', { name: patch.name })">
            <title>{{ patch.said }}</title>
          </polygon>
          <g v-for="(mark, i) in placed" class="mark" tabindex="0" role="button"
             :aria-label="'mark ' + (i + 1) + ': move it with the arrow keys'"
             @pointerdown.prevent="hold($event, i)" @click.stop @keydown="nudge($event, i)">
            <circle :cx="mark[0]" :cy="mark[1]" :r="r" />
            <line :x1="mark[0] - r" :x2="mark[0] + r" :y1="mark[1]" :y2="mark[1]" />
            <line :y1="mark[1] - r" :y2="mark[1] + r" :x1="mark[0]" :x2="mark[0]" />
            <text :x="mark[0] + r" :y="mark[1] - r" :font-size="1.6 * r">{{ i + 1 }}</text>
          </g>
        </svg>
      </div>
    </div>
  `,
  props: { url: String, width: Number, height: Number, label: String, marking: Boolean,
           marks: Array, asked: Array, patches: Array },
  data() {
    return { zoom: 1, placed: (this.marks || []).map((m) => [...m]), held: null };
  },
  computed: {
    r() {
      return Math.max(this.width, this.height) / 60;
    },
    said() {
      const n = this.placed.length;
      return n < 4 ? `Click ${this.asked[n]}.`
                   : "All four are set. Drag them, or move them with the arrow keys (with Shift in large steps), until they lie right.";
    },
  },
  methods: {
    at(event) {
      const box = event.currentTarget.closest("svg") || event.target.closest("svg");
      const place = box.getBoundingClientRect();
      const x = ((event.clientX - place.left) * this.width) / place.width;
      const y = ((event.clientY - place.top) * this.height) / place.height;
      return [Math.min(Math.max(x, 0), this.width), Math.min(Math.max(y, 0), this.height)];
    },
    clicked(event) {
      if (!this.marking || this.placed.length >= 4) return;
      this.placed.push(this.at(event));
      this.told();
    },
    byKeys() {
      const place = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]][this.placed.length];
      this.placed.push([place[0] * this.width, place[1] * this.height]);
      this.told();
      this.$nextTick(() => [...this.$el.querySelectorAll(".mark")].pop().focus());
    },
    hold(event, i) {
      this.held = i;
      event.currentTarget.focus();
    },
    moved(event) {
      if (this.held === null) return;
      this.placed[this.held] = this.at(event);
      this.told();
    },
    nudge(event, i) {
      const step = (event.shiftKey ? 20 : 1) * Math.max(1, this.width / 1400);
      const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (!way) return;
      event.preventDefault();
      this.placed[i] = [this.placed[i][0] + way[0], this.placed[i][1] + way[1]];
      this.told();
    },
    told() {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.$emit("marks", { marks: this.placed }), 60);
    },
  },
};
