// English: every reason in the words of a person who knows cars and not computers: what is wrong, and what to do now. The technical texts
// stand beside it, folded away.

const DAMAGED = {
  says: "The shop's file is damaged: it did not arrive as it was sent.",
  act: "Do not write. Download or copy the file again. If that does not help, ask the shop to send it again.",
};
const CONTRADICTS = {
  says: "The shop's file contradicts itself, so nobody can say what it would do.",
  act: "Do not write. Tell the shop that its file is faulty, and ask for another one.",
};
const UNFIT_FILE = {
  says: "One of the files does not hold what a file of its kind must hold.",
  act: "Do not write. Look below which file it is, and get it again. If that does not help, tell the shop.",
};
const READ_DAMAGED = {
  says: "The file with your read is damaged.",
  act: "Read the controller again, or save the read again, and give that file here.",
};
const OTHER_DESCRIPTION = {
  says: "The shop's description of your controller has a fault.",
  act: "Do not write. Tell the shop; only the shop can mend this.",
};
const READ_ALTERED = {
  says: "Something was changed in your controller that neither the maker nor the shop has put there.",
  act: "Do not write. Read the controller again. If the result is the same, send the read to the shop.",
};
const READ_PARTIAL = {
  says: "Parts of the controller are missing in your read.",
  act: "Read the controller again, whole and with all its memories, and give all the files.",
};

export const REASON_WORDS_EN = {
  "usage": {
    says: "The file of the newest revision is of another job or another controller.",
    act: "Give the newest revision of this car and this controller.",
  },
  "file-unreadable": {
    says: "A file could not be read: it was moved or changed, or the stick was taken out.",
    act: "Choose the file again.",
  },
  "file-empty": { says: "A file is empty.", act: "Download, copy or save that file again, and choose it again." },
  "file-too-large": { says: "A file is much larger than it can be.", act: "Look below which file it is, and whether you chose the right one." },
  "out-of-memory": { says: "This device has too little memory for these files.", act: "Close other programs, or use a computer." },
  "internal": { says: "This page has failed; the fault is in the page itself.", act: "Do not write. Tell the shop, and send it what stands below." },
  "json-syntax": UNFIT_FILE,
  "json-depth": UNFIT_FILE,
  "json-repeated-key": UNFIT_FILE,
  "json-number": UNFIT_FILE,
  "json-type": UNFIT_FILE,
  "json-unknown-key": UNFIT_FILE,
  "json-missing-key": UNFIT_FILE,
  "json-value": UNFIT_FILE,
  "json-not-canonical": UNFIT_FILE,
  "form-unknown": {
    says: "It cannot be told what kind of read file this is.",
    act: "Save the read as it is in the controller, without any packing, and give that file here. Ask the shop which kinds it takes.",
  },
  "form-opaque": {
    says: "The read is encrypted or packed, so nobody can see what is in it.",
    act: "Save the read without encryption and packing, and give that file here.",
  },
  "form-checksum": {
    says: "The file with your read is damaged, or was changed by another program.",
    act: "Save the read again, straight from the tool that read the controller.",
  },
  "form-omits": {
    says: "Your kind of read file leaves out something that has to be written.",
    act: "Save the read in another form that holds the whole memory, and give that file here.",
  },
  "record-malformed": READ_DAMAGED,
  "record-checksum": READ_DAMAGED,
  "record-type": READ_DAMAGED,
  "record-address": READ_DAMAGED,
  "record-overlap": READ_DAMAGED,
  "record-count": READ_DAMAGED,
  "record-end-missing": {
    says: "The file with your read is cut off: its end is missing.",
    act: "Copy the file again, or read the controller again.",
  },
  "record-after-end": READ_DAMAGED,
  "image-size": {
    says: "The read is too short or too long for this memory of the controller.",
    act: "Look whether each file is the one of its memory. If so, read the controller again, whole.",
  },
  "image-outside": {
    says: "The read holds places that this controller does not have.",
    act: "Look whether the read is of this controller. If so, ask the shop.",
  },
  "memory-missing": {
    says: "It cannot be told which memory of the controller a file is of.",
    act: "Look whether each file is a whole read of this controller. Where two memories are equally large, say which one it is.",
  },
  "memory-unknown": { says: "The controller has no such memory.", act: "Remove the file, give it again, and say which memory it is of." },
  "map-range": OTHER_DESCRIPTION,
  "map-overlap": OTHER_DESCRIPTION,
  "map-name": OTHER_DESCRIPTION,
  "map-policy": OTHER_DESCRIPTION,
  "map-checksum": OTHER_DESCRIPTION,
  "map-unsolvable": OTHER_DESCRIPTION,
  "map-floating": OTHER_DESCRIPTION,
  "checksum-cycle": OTHER_DESCRIPTION,
  "descriptor-invalid": {
    says: "The shop's description of the controller does not fit this read.",
    act: "Do not write. Look whether the read is of this controller. If so, tell the shop.",
  },
  "family-mismatch": {
    says: "The read is from another kind of controller.",
    act: "Do not write. Choose the read of the controller that this revision is for.",
  },
  "bank-not-active": {
    says: "The controller works with another half of its memory than the one that would be changed.",
    act: "Do not write. Send the read to the shop.",
  },
  "checksum-fails": {
    says: "The read does not add up: it was read with errors, or somebody has changed the controller.",
    act: "Do not write. Read the controller again. If the result is the same, send the read to the shop.",
  },
  "checksum-not-provable": READ_PARTIAL,
  "map-not-believed": {
    says: "The shop's description of the controller does not hold for the first read.",
    act: "Do not write. Tell the shop; only the shop can mend this.",
  },
  "read-incomplete": READ_PARTIAL,
  "change-signed": {
    says: "A part that the maker of the controller has protected was changed.",
    act: "Do not write. Read the controller again. If the result is the same, send the read to the shop.",
  },
  "change-patch": READ_ALTERED,
  "change-locked": READ_ALTERED,
  "change-volatile": {
    says: "Something that belongs to your car alone would be changed.",
    act: "Do not write. Tell the shop that its file is faulty.",
  },
  "copy-one-sided": READ_ALTERED,
  "derived-wrong": READ_ALTERED,
  "bundle-size": DAMAGED,
  "not-a-bundle": {
    says: "This is not a file that a shop has sealed for a customer.",
    act: "Choose the file that the shop sent; its name usually ends in .calseal. Perhaps it is still packed in another file.",
  },
  "prefix-damaged": DAMAGED,
  "signature-missing": {
    says: "Nobody has signed this file, so nobody stands behind it.",
    act: "Do not write. Ask the shop for the signed file.",
  },
  "signer-unknown": {
    says: "This file was signed by somebody whom this page does not know as your shop.",
    act: "Do not write. Call the shop: did it send this file, and is there a newer page than this one?",
  },
  "signature-bad": {
    says: "The file was changed after the shop had signed it.",
    act: "Do not write. Get the file again. If that does not help, call the shop: somebody may have tampered with it.",
  },
  "type-wrong": {
    says: "A file is of another kind than the one that is needed in its place.",
    act: "Look below which file it is, and whether you chose the right one. If so, tell the shop.",
  },
  "format-unknown": {
    says: "A file was made for a newer page than this one.",
    act: "Ask the shop for its newest page.",
  },
  "manifest-invalid": CONTRADICTS,
  "framing-damaged": DAMAGED,
  "stored-digest": DAMAGED,
  "content-digest": DAMAGED,
  "key-weak": {
    says: "A signature was made in a way that proves nothing.",
    act: "Do not write. Call the shop.",
  },
  "trust-invalid": {
    says: "What this page knows of your shop is damaged.",
    act: "Do not write. Ask the shop for this page again.",
  },
  "root-mismatch": {
    says: "The code that you typed is not the code of this page.",
    act: "Do not write. Have the shop read the code to you again. If it still differs, this page is not from your shop.",
  },
  "key-compromised": {
    says: "This file was signed with a key that was stolen from the shop.",
    act: "Do not write. Call the shop.",
  },
  "key-scope": {
    says: "Whoever signed this file may not sign for this car or this controller.",
    act: "Do not write. Ask the shop to have it signed by the right person.",
  },
  "key-validity": {
    says: "This file was signed at a time when the signature did not count.",
    act: "Do not write. Ask the shop for a file with a good signature.",
  },
  "roles-missing": {
    says: "Not everybody at the shop who must sign this file has signed it.",
    act: "Do not write. Ask the shop for the file with all signatures.",
  },
  "succession-invalid": {
    says: "The file that announces the shop's new main key is not genuine, or is damaged.",
    act: "Do not write. Get it again from the shop; if that does not help, call the shop.",
  },
  "trust-old": {
    says: "This page is older than one that was used before.",
    act: "Do not write. Use the shop's newest page, or ask for it.",
  },
  "succession-fork": {
    says: "Two different keys claim to be the shop's new main key; one of them is a thief's.",
    act: "Do not write. Call the shop, have the code of its main key read to you, and type it in above.",
  },
  "root-unrelated": {
    says: "This page is from another shop than the ones that your file of earlier checks knows.",
    act: "Do not write. If you have changed the shop, have its code read to you and type it in above.",
  },
  "key-reinstated": {
    says: "This page trusts a key again that the shop had called stolen.",
    act: "Do not write. Call the shop.",
  },
  "withdrawals-invalid": {
    says: "The list of withdrawn revisions is damaged, or not from this shop.",
    act: "Ask the shop for its newest list of withdrawn revisions.",
  },
  "withdrawals-old": {
    says: "The list of withdrawn revisions is older than one that you used before.",
    act: "Give the shop's newest list of withdrawn revisions.",
  },
  "job-list-invalid": {
    says: "The list of revisions is damaged, or is of another shop, car or controller.",
    act: "Ask the shop for its newest list of the revisions of your car.",
  },
  "approval-invalid": {
    says: "The shop's approval of wider changes is damaged.",
    act: "Do not write. Ask the shop for the file again.",
  },
  "inclusion-invalid": {
    says: "The proof that the shop has entered this revision in its register is not one.",
    act: "Ask the shop for the proof of this very revision, or leave it out.",
  },
  "state-damaged": {
    says: "The file of your earlier checks is damaged.",
    act: "Use an older copy of it, or put it aside and begin a new one.",
  },
  "withdrawn": {
    says: "The shop has withdrawn this revision.",
    act: "Do not write. Ask the shop which revision to use; if this one is in the car already, ask what to do.",
  },
  "not-listed": {
    says: "The shop's list of revisions does not name this one.",
    act: "Do not write. Ask the shop for its newest list, and whether this revision is meant to be used.",
  },
  "base-old": {
    says: "This revision is for the software that the controller had before it was updated or replaced.",
    act: "Do not write. Ask the shop for a revision for the software that is in the controller now.",
  },
  "sequence-conflict": {
    says: "You have seen another revision with this same number before.",
    act: "Do not write. Call the shop: one of the two may be false.",
  },
  "sequence-old": {
    says: "This is an old revision: a newer one was accepted before.",
    act: "Do not write. Use the newest revision. Only if the shop told you to go back: say so under “More”.",
  },
  "rules-changed": {
    says: "What the shop may change in your controller was altered without saying so.",
    act: "Do not write. Call the shop.",
  },
  "rules-widened": {
    says: "The shop may now change more in your controller than before, and nobody has approved that.",
    act: "Do not write. Ask the shop why, and for a revision with an approval.",
  },
  "set-mismatch": {
    says: "The files belong to different cars, or not to one another.",
    act: "Do not write. Give only the files that the shop sent together for this car.",
  },
  "set-incomplete": {
    says: "This revision works only together with another one, and that is missing.",
    act: "Give all the files that the shop sent together, for engine and transmission, say.",
  },
  "clock-implausible": {
    says: "The clock of this device is wrong, and this trial revision depends on it.",
    act: "Set date and time of the device, and check again.",
  },
  "expired": {
    says: "This revision was for a trial, and its time is over.",
    act: "Do not write. Ask the shop for the final revision.",
  },
  "read-missing": {
    says: "Your own read of the controller is missing.",
    act: "Read the controller, and give the file or files here.",
  },
  "read-foreign": {
    says: "The software in your read is not the one that this revision was made for.",
    act: "Do not write. Read the controller again. If the result is the same, send the read to the shop: the controller may have been updated or replaced.",
  },
  "vehicle-mismatch": {
    says: "The read is from another car.",
    act: "Do not write. Choose the read of the car that this revision was made for, or ask the shop for a revision for this car.",
  },
  "vehicle-not-provable": {
    says: "Nothing shows that this read is from your car.",
    act: "Give the small salt file that the shop sent you. Where the shop asks for it, type the vehicle reference.",
  },
  "vehicle-reference": {
    says: "The vehicle reference is not the one that the shop has for this car.",
    act: "Look how the shop writes it, and type it again. If it is right, this file is for another car.",
  },
  "salt-wrong": {
    says: "The salt file is not the one of this job.",
    act: "Give the salt file that the shop sent you for this car.",
  },
  "read-not-fresh": {
    says: "The controller learns while you drive, and this read may be out of date.",
    act: "Read the controller now, do not drive, tick that the read was taken just now, and check again.",
  },
  "result-mismatch": {
    says: "What would be written is not what the shop has sealed.",
    act: "Do not write. Get the shop's file again, and read the controller again.",
  },
  "claim-mismatch": {
    says: "The shop's file says something about itself that is not so.",
    act: "Do not write. Do not use this file, and tell the shop.",
  },
  "confirm-old": {
    says: "Nothing was written: the controller still holds what it held before.",
    act: "Look what your writing tool said and which file it took. Write again, and read back again.",
  },
  "confirm-partial": {
    says: "Only a part of it was written.",
    act: "Do not start the engine. Keep the power on, write the same file again, and read back again. If it cannot be written, write revision 0.",
  },
  "confirm-recorrected": {
    says: "The revision is there, but your writing tool has changed its check values.",
    act: "Do not drive. Switch the tool's own correction off, write again, and read back again. Tell the shop.",
  },
  "confirm-differs": {
    says: "The controller holds something else than this revision.",
    act: "Do not drive. Look whether you wrote the right file. Write again, and read back again.",
  },
  "scan-mismatch": {
    says: "A value that you typed is not the one that this revision has.",
    act: "Do not drive yet. Wait some minutes with the ignition on, and read the value again. If it stays, ask the shop.",
  },
  "sheet-invalid": {
    says: "The shop's sheet, with what it offers and asks, is damaged or from another shop.",
    act: "Get the sheet from the shop again. You can also send your files and words without one.",
  },
  "customer-file-invalid": {
    says: "Your own customer file is damaged, or it is another file.",
    act: "Choose the right file. If it is lost, let this page make a new one and tell the shop so by telephone.",
  },
  "parcel-invalid": {
    says: "The parcel is damaged, or its parts do not fit together.",
    act: "Make the parcel again, and send the new one.",
  },
  "parcel-closed": {
    says: "The parcel is locked, and it cannot be opened here.",
    act: "Only the shop can open it. If the shop cannot, make the parcel again and send the new one.",
  },
  "parcel-other": {
    says: "The parcel is for another shop, another job or from another customer.",
    act: "Look whether you chose the right file. If you did, call the shop.",
  },
  "parcel-old": {
    says: "A newer parcel of yours came before this one.",
    act: "Use the newest one. If you have lost your customer file, tell the shop so by telephone.",
  },
};
