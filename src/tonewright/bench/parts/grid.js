// A table of text inputs. What is typed stays here and is told to the server at most every 80 ms;
// the server's values are taken only when it has set them anew (another edition of the table).
// Values beyond the last row stay, too: there may be more rows in a moment.
const EVERY = 80;
const MOST = 100_000; // characters of a table: they go to the server in one message
const NUMBER = /^[+-]?(\d+[.,]?\d*|[.,]\d+)$/;
const isPlain = (line) => line.every((cell) => !cell || NUMBER.test(cell));

export default {
  template: `
    <div class="density-grid">
      <p class="density-grid-told field-error" role="status">{{ told || overhang }}</p>
      <button type="button" class="skip" ref="start" @click="$refs.end.focus()">Go past the table</button>
      <div class="density-grid-window" ref="window" @scroll="look">
        <table>
          <thead>
            <tr>
              <th scope="col">{{ thing }}</th>
              <th v-for="column in columns" scope="col">{{ column }}</th>
              <th v-if="leaving" scope="col">leave out</th>
            </tr>
          </thead>
          <tbody>
            <tr v-for="(label, row) in rows" :class="{ out: skipped.includes(row) }">
              <th scope="row">{{ label }}<small v-if="aside.includes(row)">set aside</small></th>
              <td v-for="(column, place) in columns">
                <input
                  type="text"
                  inputmode="decimal"
                  autocomplete="off"
                  spellcheck="false"
                  :data-cell="row + ',' + place"
                  :value="cell(row, place)"
                  :aria-label="column + ' of ' + thing + ' ' + label"
                  :aria-invalid="isPlain([cell(row, place).trim()]) ? null : 'true'"
                  @input="typed(row, place, $event.target.value)"
                  @focus="$event.target.select()"
                  @keydown="pressed($event, row, place)"
                  @paste="pasted($event, row, place)"
                />
              </td>
              <td v-if="leaving" class="counts">
                <input
                  type="checkbox"
                  :checked="skipped.includes(row)"
                  :aria-label="'leave out ' + thing + ' ' + label"
                  @change="skip(row, $event.target.checked)"
                />
              </td>
            </tr>
          </tbody>
        </table>
      </div>
      <p class="density-grid-below" aria-hidden="true">{{ below ? "↓ " + below + " more below" : "" }}</p>
      <button type="button" class="skip" ref="end" @click="$refs.start.focus()">Go back past the table</button>
    </div>
  `,
  props: {
    thing: String,
    leaving: Boolean,
    reads: Boolean,
    columns: Array,
    rows: Array,
    table: Object,
    aside: Array,
  },
  data() {
    return { values: [], skipped: [], told: "", below: 0 };
  },
  computed: {
    overhang() {
      const { rows, columns } = this;
      const all = this.values.flatMap((line, row) =>
        line.filter((cell, place) => cell.trim() && (row >= rows.length || place >= columns.length)),
      ).length;
      return all ? `${all} ${all === 1 ? "value lies" : "values lie"} beyond the table and ${all === 1 ? "does" : "do"} not count.` : "";
    },
  },
  created() {
    this.take();
  },
  mounted() {
    this.watcher = new ResizeObserver(() => this.look());
    this.watcher.observe(this.$refs.window);
  },
  updated() {
    this.look();
  },
  watch: {
    "table.edition": "take",
  },
  unmounted() {
    clearTimeout(this.timer);
    this.watcher.disconnect();
  },
  methods: {
    take() {
      this.values = this.table.values.map((line) => [...line]);
      this.skipped = [...this.table.skipped];
      this.before = this.table.before;
      this.told = "";
    },
    look() {
      const foot = this.$refs.window.getBoundingClientRect().bottom;
      const middle = (box) => (box.top + box.bottom) / 2;
      this.below = [...this.$refs.window.querySelectorAll("tbody tr")].filter(
        (line) => middle(line.getBoundingClientRect()) > foot,
      ).length;
    },
    isPlain,
    cell(row, place) {
      return this.values[row]?.[place] ?? "";
    },
    put(row, place, text) {
      while (this.values.length <= row) this.values.push([]);
      const line = this.values[row];
      while (line.length < place) line.push("");
      line[place] = text;
    },
    typed(row, place, text) {
      this.put(row, place, text);
      this.before = null;
      this.told = "";
      this.tell();
    },
    skip(row, out) {
      this.skipped = this.skipped.filter((other) => other !== row);
      if (out) this.skipped.push(row);
      this.tell();
    },
    tell() {
      if (this.timer) {
        this.waiting = true;
        return;
      }
      this.send();
      this.timer = setTimeout(() => {
        this.timer = null;
        if (this.waiting) this.tell();
      }, EVERY);
    },
    send() {
      this.$emit("changed", {
        edition: this.table.edition,
        values: this.values.map((line) => [...line]),
        skipped: [...this.skipped],
      });
      this.waiting = false;
    },
    pressed(event, row, place) {
      const back = event.key === "ArrowUp" || (event.key === "Enter" && event.shiftKey);
      if (back || event.key === "ArrowDown" || event.key === "Enter") {
        event.preventDefault();
        this.focusCell(row + (back ? -1 : 1), place);
      } else if ((event.ctrlKey || event.metaKey) && event.key === "z" && this.before) {
        event.preventDefault(); // a browser does not undo what a script wrote
        this.values = this.before;
        this.before = null;
        this.told = "";
        this.tell();
      }
    },
    focusCell(row, place) {
      this.$el.querySelector(`[data-cell="${row},${place}"]`)?.focus();
    },
    pasted(event, row, place) {
      const text = event.clipboardData.getData("text").replace(/(\r\n|\n|\r)+$/, "");
      if (!/[\t\r\n]/.test(text)) return; // one value: the browser's own pasting
      event.preventDefault();
      const lines = text.split(/\r\n|\n|\r/).map((line) => line.split("\t").map((cell) => cell.trim()));
      const [first, ...others] = lines;
      const isHeaded = !isPlain(first) && others.every((line) => line.length === 1 && isPlain(line));
      const isNumbered = first.length > 1 && lines.every((line, n) => line[0] === String(n + 1));
      if (isHeaded || (isPlain(first) && !isNumbered)) {
        this.fill(isHeaded ? others : lines, row, place);
        if (isHeaded && !this.told) this.told = `The heading ${first.join(" ").trim()} was left off.`;
      } else if (this.reads && text.length <= MOST) {
        this.told = "";
        if (this.waiting) this.send(); // what was typed before goes first
        this.$emit("table", text);
      } else {
        this.told = "Nothing was pasted. Copy the densities alone, without headings or notes.";
      }
    },
    fill(lines, row, place) {
      const other = lines.flat().find((cell) => !isPlain([cell]));
      if (other !== undefined) {
        this.told = `Nothing was pasted: ${other} is not a number.`;
        return;
      }
      this.told = "";
      this.before = this.values.map((line) => [...line]);
      this.values = this.values.slice(0, this.rows.length).map((line) => line.slice(0, this.columns.length));
      lines.forEach((line, down) => line.forEach((cell, right) => this.put(row + down, place + right, cell)));
      this.tell();
    },
  },
};
