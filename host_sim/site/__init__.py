"""The twin in a page: static files that hold the panel and, in a worker, the whole twin.

`make site` writes them; docs/how_to/put_the_twin_on_a_web_page.md says what to do with them.
"""
