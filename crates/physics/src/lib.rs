//! Fields of coils and the path of an electron through them.
