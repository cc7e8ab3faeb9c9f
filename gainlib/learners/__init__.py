"""The learner's side: course folder, progress, repetition, enrolment, submission, how JupyterLab is started."""
