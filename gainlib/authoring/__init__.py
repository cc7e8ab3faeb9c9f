"""The author's tools: everything that is wrong with an exercise file, the proof that it is sound, a first file.

An author is told every fault at once, each with its line, in a sentence that says what to do; what can be guessed is
read as it was meant, so that one slip of the pen does not hide the faults behind it. The file itself is never changed.
A proof renders and measures; nothing in it is drawn by chance, so two proofs of one file are equal.

messages         the sentence of a fault with its line; the usual slips of the pen in TOML, told and mended
validation       a file held against all that it must be
search           answers spread evenly over the controls; a search for one that passes
sampling         which variants are looked at, and what a look costs
evidence         the variants and answers that were measured, and what is noted of them
claims           what a proof shows, one function a claim
ladder_claims    the same of a listening ladder
text_lint        numbers in the texts that no check wants, sentences that give an answer away
verification     the proof: every claim in order
known_proofs     which exercises were proven on this computer
passing_region   which answers pass, as a picture
draft            an exercise in the making, as a page holds it, and its file
one_line         a value of a file as one line that a teacher types
entry_form       the entries of a table as the fields of a form
completion       what follows from what was shown on a bench: rules, the looks of wrong answers, sentences
new_exercise     a sound file to begin with, from templates/
"""
