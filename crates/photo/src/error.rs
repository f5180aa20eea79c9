//! What can go wrong on a photograph, said in a sentence with a remedy.
