from .class_file import ClassFile as ClassFile
from .class_file import Late as Late
from .class_file import RosterLine as RosterLine
from .class_file import read_class as read_class
from .roster import ClassList as ClassList
from .roster import read_class_list as read_class_list
from .roster import read_roster as read_roster
from .start_files import new_class as new_class
