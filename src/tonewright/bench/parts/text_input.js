// A text field that keeps what is typed, whatever else is drawn anew; the server sets it by an edition.
export default {
  template: `
    <input :id="id" :type="kind" autocomplete="off" spellcheck="false" :value="typed"
           :aria-invalid="fault ? 'true' : null" :aria-describedby="said"
           @input="typed = $event.target.value; $emit('typed', { text: typed, edition })" />
  `,
  props: { id: String, kind: String, value: String, edition: Number, fault: Boolean, said: String },
  data() {
    return { typed: this.value };
  },
  watch: {
    edition() {
      this.typed = this.value;
    },
  },
};
