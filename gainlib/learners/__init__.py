"""The learner's side: their folder with the lessons, their record, what comes back, their class, their hand-in.

Everything is kept in the learner's own folder, in plain JSON and TOML; what cannot be saved is told in a sentence and
stops nobody from working. Nothing here knows a classroom: a learner alone opens none of the teacher's side.

course_folder      where the folder is; the lessons laid in it, and brought up to date beside what the learner changed
naming             names and ids: what is allowed, and how one stands in a file's name
progress           the record: an id, a name and every attempt, none of which is ever lost
contents           the table of contents: what is done, which lesson is next
spaced_repetition  when an exercise that was missed comes back
learners_file      the class as a learner's computer knows it
start_file         the archive by which a learner joins a class, read with suspicion
class_changes      what is other in a class than it was, in words
exercise_pages     a page for each exercise that is set
enrolment          who the learner is in a class, and what the teacher changed since
standing           how far the learner is with the exercises of their class
set_work           what is set, as the contents have it
hand_in_file       what a hand-in holds, read with suspicion
submission         handing in
takes              what the learner recorded, each take a file that nothing is written over
jupyter_server     JupyterLab for this folder, once: command, run, end
hub_server         a learner's server on a JupyterHub: their lessons laid, then as gainlib open has it
course_contents    how its notebooks are given to the page
lab_process        a process that ends with the one that started it
spared             what a process of Jupyter need not open
"""
