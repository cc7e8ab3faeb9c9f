"""Pages that need no server and no connection: one template environment, and Bokeh figures in a page.

`pages` has the environment: what is put into a template is escaped there, so nothing from a hand-in, a file name or a
class list can become a tag; only what is `Markup` already, made by this room, stands as it is. The palette reaches a
page as CSS variables, the strokes as classes, both from `palette`. `figures` puts a figure and the Bokeh that draws
it into a page, `lesson_page` writes a lesson that was run. `templates/` holds every page of the course: `base.html` is
the frame of all, and each other file is one page or a part that several share.
"""
