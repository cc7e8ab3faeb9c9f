"""Write the digests of the lessons beside the page's script."""

import json

from gainlib.page.digests import SHIPPED, course_digests
from gainlib.storage import atomic_write

if __name__ == "__main__":
    atomic_write(SHIPPED, json.dumps(course_digests(), indent=1) + "\n")
    print(f"Written: {SHIPPED}")
