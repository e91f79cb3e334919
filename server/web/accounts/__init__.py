"""Signing in and out, joining a section, passwords, second factors, OpenID Connect, sessions."""
