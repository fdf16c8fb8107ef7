// A text field that keeps what is typed, whatever else is drawn anew; the server sets it by an edition.
export default {
  template: `
    <input type="text" autocomplete="off" spellcheck="false" :value="typed"
           @input="typed = $event.target.value; $emit('typed', { text: typed, edition })" />
  `,
  props: { value: String, edition: Number },
  data() {
    return { typed: this.value };
  },
  watch: {
    edition() {
      this.typed = this.value;
    },
  },
};
