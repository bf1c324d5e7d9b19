"""The screens. `controller` and `lettering` import no Textual, so the plain face may use them."""
