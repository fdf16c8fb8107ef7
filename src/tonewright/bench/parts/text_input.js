// A text field that keeps what is typed, whatever else is drawn anew; the server sets it by an edition.
export default {
  template: `
    <component :is="lines ? 'textarea' : 'input'" :type="lines ? null : 'text'" autocomplete="off"
               spellcheck="false" :value="typed"
               @input="typed = $event.target.value; $emit('typed', { text: typed, edition })" />
  `,
  props: { value: String, lines: Boolean, edition: Number },
  data() {
    return { typed: this.value };
  },
  watch: {
    edition() {
      this.typed = this.value;
    },
  },
};
