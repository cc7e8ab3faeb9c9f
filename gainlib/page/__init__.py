"""What a lesson's page does by itself in JupyterLab and Notebook: an extension of theirs, written by hand.

`labextensions/gainlib` is laid where Jupyter looks for extensions when gainlib is installed; `gainlib open` names the
folder around it (`EXTENSIONS`). Its script tells a lesson of the course from any other notebook by the digest of its
code. `gainlib open` names the lessons' digests in the page's settings; elsewhere those count that `build_hook` laid
beside the script when gainlib was built.
"""

from gainlib.page.digests import EXTENSIONS, course_digests
from gainlib.page.lesson_code import code_digest

__all__ = ["EXTENSIONS", "code_digest", "course_digests"]
