// Each file is sent raw, so that it goes to disk as it arrives; the server's refusal is shown here.
export default {
  template: `
    <div class="drop" :class="{ over }" @dragover.prevent="over = true" @dragleave="over = false"
         @drop.prevent="dropped">
      <label>
        <span>{{ label }}</span>
        <input type="file" :accept="accept" :multiple="multiple" @change="chosen" />
      </label>
      <div v-for="file in sending" class="drop-file">
        <span>{{ file.name }}</span>
        <progress :value="file.done" max="1" :aria-label="'arriving: ' + file.name"></progress>
        <button type="button" class="button" @click="file.request.abort()">Cancel</button>
      </div>
      <p class="field-error" role="alert">{{ said }}</p>
    </div>
  `,
  props: { label: String, url: String, accept: String, multiple: Boolean },
  data() {
    return { over: false, sending: [], said: "" };
  },
  methods: {
    dropped(event) {
      this.over = false;
      this.send([...event.dataTransfer.files]);
    },
    chosen(event) {
      this.send([...event.target.files]);
      event.target.value = "";
    },
    send(files) {
      this.said = "";
      const endings = this.accept.split(",");
      for (const file of this.multiple ? files : files.slice(0, 1)) {
        if (this.accept && !endings.some((end) => file.name.toLowerCase().endsWith(end))) {
          this.said += `${file.name} was not taken. Files that can be used here end in ${endings.join(", ")}. `;
          continue;
        }
        const request = new XMLHttpRequest();
        this.sending.push({ name: file.name, done: 0, request });
        const mine = this.sending[this.sending.length - 1];
        const gone = () => (this.sending = this.sending.filter((other) => other !== mine));
        request.upload.onprogress = (e) => (mine.done = e.total ? e.loaded / e.total : 0);
        request.onload = () => {
          gone();
          if (request.status === 201) this.$emit("done", { name: request.responseText });
          else this.said += request.responseText + " ";
        };
        request.onerror = () => {
          gone();
          this.said += `${file.name} did not arrive. `;
        };
        request.onabort = gone;
        request.open("PUT", `${this.url}/${encodeURIComponent(file.name)}`);
        request.send(file);
      }
    },
  },
};
