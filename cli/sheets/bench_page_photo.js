// A photo of the dyed face: taken or chosen, its marks tapped, the command that reads it given as text.
// The reading itself is done at the machine; nothing of the photo is kept here.
const makePhoto = (job) => {
  const byId = (id) => document.getElementById(id);
  const CLOSER = 6, SHARP = 2;
  let picture = null, name = "", marks = [], closer = null;

  const wanted = () => job.photo.marks[marks.length];
  const quoted = (text) => (/^[\w.-]+$/.test(text) ? text : `'${text.replace(/'/g, "'\\''")}'`);
  // The part of the picture that is shown: all of it, or a piece around the first of two taps.
  const shown = () => {
    if (!closer) return { x: 0, y: 0, wide: picture.width, high: picture.height };
    const wide = picture.width / CLOSER, high = picture.height / CLOSER;
    return {
      x: Math.min(Math.max(closer.x - wide / 2, 0), picture.width - wide),
      y: Math.min(Math.max(closer.y - high / 2, 0), picture.height - high), wide, high,
    };
  };

  const draw = () => {
    const canvas = byId("photo"), there = Boolean(picture);
    canvas.hidden = byId("photo-back").hidden = !there;
    const done = there && !wanted();
    byId("photo-text").hidden = byId("photo-copy").hidden = !done;
    byId("photo-says").textContent = !there ? job.photo.says
      : done ? "At the machine, where the photo is (put its folder before its name):"
        : closer ? `Now tap ${wanted().says} exactly.` : `Tap near ${wanted().says}.`;
    if (!there) return;
    byId("photo-back").disabled = !marks.length && !closer;
    canvas.width = SHARP * Math.max(canvas.clientWidth, 300);
    canvas.height = Math.round(canvas.width * picture.height / picture.width);
    const pen = canvas.getContext("2d"), { x, y, wide, high } = shown(), scale = canvas.width / wide;
    pen.drawImage(picture, x, y, wide, high, 0, 0, canvas.width, canvas.height);
    marks.forEach((mark) => {
      const at = [scale * (mark.x - x), scale * (mark.y - y)];
      for (const [colour, line] of [["white", 8], ["black", 3]]) {
        pen.strokeStyle = colour;
        pen.lineWidth = line;
        pen.beginPath();
        pen.arc(...at, 18, 0, 2 * Math.PI);
        pen.stroke();
      }
    });
    if (done) {
      const places = marks.map((mark, k) => `${job.photo.marks[k].option}${Math.round(mark.x)},${Math.round(mark.y)}`);
      byId("photo-text").value = `${job.photo.command} ${quoted(name)} ${places.join(" ")}`;
    }
  };

  const tapped = (event) => {
    if (!picture || !wanted()) return;
    const box = byId("photo").getBoundingClientRect(), { x, y, wide, high } = shown();
    const at = { x: x + wide * (event.clientX - box.left) / box.width, y: y + high * (event.clientY - box.top) / box.height };
    if (closer) {
      marks.push(at);
      closer = null;
    } else closer = at;
    draw();
  };

  const taken = async () => {
    const [file] = byId("photo-file").files;
    if (!file) return;
    try {
      // Turned upright as the camera noted, which is how the places are counted at the machine too.
      picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      byId("photo-says").textContent = "This is no picture that the phone can show: a photo as JPEG or PNG is wanted.";
      return;
    }
    [name, marks, closer] = [file.name, [], null];
    draw();
  };

  byId("photo-box").hidden = !job.photo;
  if (!job.photo) return;
  byId("photo-file").addEventListener("change", taken);
  byId("photo").addEventListener("click", tapped);
  byId("photo-back").addEventListener("click", () => {
    if (closer) closer = null; else marks.pop();
    draw();
  });
  byId("photo-copy").addEventListener("click", async () => {
    byId("photo-text").select();
    try {
      await navigator.clipboard.writeText(byId("photo-text").value);
      byId("photo-copy").textContent = "Copied";
    } catch { /* it is selected, to be copied by hand */ }
  });
  byId("photo-box").addEventListener("toggle", draw);
  draw();
};
