// A picture with four numbered handles, or with patches to choose; in pixels of the large picture.
const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function middle(patch) {
  const corners = patch.points.split(" ").map((corner) => corner.split(",").map(Number));
  return [0, 1].map((i) => corners.reduce((sum, corner) => sum + corner[i], 0) / corners.length);
}

export default {
  template: `
    <div class="scan-view">
      <div class="buttons">
        <button type="button" class="button" @click="zoom *= 1.4">Larger</button>
        <button type="button" class="button" @click="zoom = Math.max(1, zoom / 1.4)">Smaller</button>
        <button type="button" class="button" v-if="asked.length" @click="placed = []; told()">Set the marks anew</button>
        <button type="button" class="button" v-if="placed.length < asked.length" @click="byKeys">Set the next mark with the keys</button>
      </div>
      <p v-if="asked.length" role="status">{{ said }}</p>
      <div class="scan-window">
        <svg :viewBox="'0 0 ' + width + ' ' + height" :style="{ width: zoom * 100 + '%' }"
             role="group" :aria-label="label" @click="clicked" @pointermove="moved"
             @pointerup="held = null" @pointerleave="held = null" @pointercancel="held = null">
          <image :href="url" :width="width" :height="height" />
          <g v-if="patches.length" role="listbox" aria-multiselectable="true"
             aria-label="Patches to leave out: arrow keys go from one to the next, Space leaves it out">
            <polygon v-for="(patch, i) in patches" ref="patches" :points="patch.points"
                     :tabindex="i === here ? 0 : -1" role="option"
                     :aria-checked="patch.out ? 'true' : 'false'"
                     :aria-label="'leave out patch ' + patch.said"
                     :class="['patch', { out: patch.out, doubtful: patch.doubtful }]"
                     @focus="here = i" @click.stop="$emit('patch', { name: patch.name })"
                     @keydown="pressed($event, i)">
              <title>{{ patch.said }}</title>
            </polygon>
          </g>
          <g v-for="(mark, i) in placed" class="mark" tabindex="0" role="button"
             :aria-label="'mark ' + (i + 1) + ': move it with the arrow keys'"
             @touchstart.prevent @pointerdown.prevent="hold($event, i)"
             @click.stop @keydown="nudge($event, i)">
            <circle :cx="mark[0]" :cy="mark[1]" :r="r" />
            <line :x1="mark[0] - r" :x2="mark[0] + r" :y1="mark[1]" :y2="mark[1]" />
            <line :y1="mark[1] - r" :y2="mark[1] + r" :x1="mark[0]" :x2="mark[0]" />
            <text :x="mark[0] + r" :y="mark[1] - r" :font-size="1.6 * r">{{ i + 1 }}</text>
          </g>
        </svg>
      </div>
    </div>
  `,
  props: { url: String, width: Number, height: Number, label: String, asked: Array,
           patches: Array },
  data() {
    return { zoom: 1, placed: [], held: null, here: 0 };
  },
  computed: {
    r() {
      return Math.max(this.width, this.height) / 60;
    },
    said() {
      const n = this.placed.length;
      return n < this.asked.length ? `Click ${this.asked[n]}.`
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
      if (this.placed.length >= this.asked.length) return;
      this.placed.push(this.at(event));
      this.told();
    },
    byKeys() {
      const place = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]][this.placed.length];
      this.placed.push([place[0] * this.width, place[1] * this.height]);
      this.told();
      this.$nextTick(() => [...this.$el.querySelectorAll(".mark")].pop().focus());
    },
    pressed(event, i) {
      if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        this.$emit("patch", { name: this.patches[i].name });
        return;
      }
      const next = event.key === "Home" ? 0 : event.key === "End" ? this.patches.length - 1
                                        : this.beside(i, arrows[event.key]);
      if (next === null) return;
      event.preventDefault();
      this.$refs.patches[next].focus();
    },
    beside(i, way) {
      // the nearest patch that lies more in this direction than to either side of it
      if (!way) return null;
      const [x, y] = middle(this.patches[i]);
      let [next, least] = [i, Infinity];
      this.patches.forEach((patch, j) => {
        const [right, down] = [middle(patch)[0] - x, middle(patch)[1] - y];
        const along = right * way[0] + down * way[1];
        const across = Math.abs(right * way[1]) + Math.abs(down * way[0]);
        if (along > across && along + across < least) [next, least] = [j, along + across];
      });
      return next;
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
      const way = arrows[event.key];
      if (!way) return;
      event.preventDefault();
      this.placed[i] = [this.placed[i][0] + step * way[0], this.placed[i][1] + step * way[1]];
      event.currentTarget.scrollIntoView({ block: "nearest", inline: "nearest" });
      this.told();
    },
    told() {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.$emit("marks", { marks: this.placed }), 60);
    },
  },
};
