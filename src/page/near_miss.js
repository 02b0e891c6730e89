// What a read that does not fit most likely is, in words. Nothing is decided here: the reason stays what it was.

export async function explainMisfit(refusal, opened, read, files, partners, newest) {
  return refusal;
}
