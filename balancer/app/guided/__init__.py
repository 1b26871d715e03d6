"""The guided job: from the cautions to the verdict."""
