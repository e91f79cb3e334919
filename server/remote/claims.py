"""What the names of LTI's own claims begin with (LTI Core 1.3, 5.3)."""

CLAIM = "https://purl.imsglobal.org/spec/lti/claim/"
