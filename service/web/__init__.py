"""Pages for people: the desk, the courses, the reference of the API, what problems mean."""
