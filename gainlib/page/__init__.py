"""What a lesson's page does by itself in JupyterLab and Notebook: an extension of theirs, written by hand.

`labextensions/gainlib` is laid where Jupyter looks for extensions when gainlib is installed; `gainlib open` names the
folder around it (`EXTENSIONS`). Its script tells a lesson of the course from any other notebook by the digest of its
code: `python -m gainlib.page` writes the digests of the lessons beside it, anew after a lesson's code was changed.
"""

from gainlib.page.digests import EXTENSIONS, code_digest, course_digests

__all__ = ["EXTENSIONS", "code_digest", "course_digests"]
