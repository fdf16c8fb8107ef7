// A table of text inputs. What is typed stays here and is told to the server at most every 80 ms;
// the server's values are taken only when it has set them anew (another edition of the table).
const EVERY = 80;

export default {
  template: `
    <div class="density-grid">
      <button type="button" class="skip" @click="$refs.end.focus()">Go past the table</button>
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
            <th scope="row">{{ label }}<small v-if="doubtful.includes(row)">doubtful</small></th>
            <td v-for="(column, place) in columns">
              <input
                type="text"
                inputmode="decimal"
                autocomplete="off"
                spellcheck="false"
                :data-cell="row + ',' + place"
                :value="values[row][place]"
                :aria-label="column + ' of ' + thing + ' ' + label"
                :aria-invalid="fault(row, place) ? 'true' : null"
                :aria-describedby="fault(row, place) ? faultId(row, place) : null"
                @input="typed(row, place, $event.target.value)"
                @focus="$event.target.select()"
                @keydown="pressed($event, row, place)"
                @paste="pasted($event, row, place)"
              />
              <p v-if="fault(row, place)" class="field-error" :id="faultId(row, place)">{{
                fault(row, place)
              }}</p>
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
      <p class="density-grid-told field-error" role="status">{{ told }}</p>
      <span ref="end" tabindex="-1"></span>
    </div>
  `,
  props: {
    thing: String,
    leaving: Boolean,
    columns: Array,
    rows: Array,
    table: Object,
    faults: Array,
    doubtful: Array,
  },
  data() {
    return { values: [], skipped: [], told: "" };
  },
  created() {
    this.take();
  },
  watch: {
    "table.edition": "take",
  },
  unmounted() {
    clearTimeout(this.timer);
  },
  methods: {
    take() {
      this.values = this.table.values.map((line) => [...line]);
      this.skipped = [...this.table.skipped];
      this.before = null;
      this.told = "";
    },
    fault(row, place) {
      return this.faults.find((f) => f.row === row && f.column === place)?.message;
    },
    faultId(row, place) {
      return `${this.$el?.id || "grid"}-fault-${row}-${place}`;
    },
    typed(row, place, text) {
      this.values[row][place] = text;
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
      this.$emit("changed", {
        edition: this.table.edition,
        values: this.values.map((line) => [...line]),
        skipped: [...this.skipped],
      });
      this.waiting = false;
      this.timer = setTimeout(() => {
        this.timer = null;
        if (this.waiting) this.tell();
      }, EVERY);
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
      this.before = this.values.map((line) => [...line]);
      let over = 0;
      text.split(/\r\n|\n|\r/).forEach((line, down) => {
        line.split("\t").forEach((value, right) => {
          const target = this.values[row + down];
          if (target && place + right < this.columns.length) {
            target[place + right] = value.trim();
          } else if (value.trim()) over += 1;
        });
      });
      this.told = over ? `${over} pasted ${over === 1 ? "value" : "values"} beyond the table left off.` : "";
      this.tell();
    },
  },
};
