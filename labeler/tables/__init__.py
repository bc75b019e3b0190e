"""Tables: what is known of tube, wire, coverings, stock, printers and colours."""
