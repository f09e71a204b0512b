"""The phone form: records are saved on the phone first, then sent. Pages are rendered here; modules do the rest."""
