"""The picture that a costume is shown in: chosen from the pages where it is marked, or a model drawing."""
