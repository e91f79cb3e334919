"""The people of the demo course, who do not exist: invented names from many languages."""

from server.store.people import Role

# (name, as listed, section): 01 and 02 of the term that is on, 00 of the one before, 000 of the one
# before that.
STUDENTS = (
    ("Amara Okonjo", "Okonjo, Amara", "01"),
    ("Bilal Haddad", "Haddad, Bilal", "01"),
    ("Camille Fournet", "Fournet, Camille", "01"),
    ("Đặng Thị Mai", "Đặng Thị Mai", "01"),
    ("Elif Yıldırım", "Yıldırım, Elif", "01"),
    ("Fetu Leavasa", "Leavasa, Fetu", "01"),
    ("Grzegorz Wiśniak", "Wiśniak, Grzegorz", "01"),
    ("Hana Kobayakawa", "Kobayakawa, Hana", "01"),
    ("Ilse van der Molen", "Molen, Ilse van der", "01"),
    ("Joaquín Peñalver", "Peñalver, Joaquín", "01"),
    ("Kalinda Strongbow", "Strongbow, Kalinda", "01"),
    ("Лариса Мельничук", "Мельничук, Лариса", "01"),
    ("Anselm Brückner", "Brückner, Anselm", "01"),
    ("Beatriz Salgueiro", "Salgueiro, Beatriz", "01"),
    ("Chipo Marange", "Marange, Chipo", "01"),
    ("Dagný Hrafnsdóttir", "Dagný Hrafnsdóttir", "01"),
    ("Ewa Zawilska", "Zawilska, Ewa", "01"),
    ("Farida Nurmatova", "Nurmatova, Farida", "01"),
    ("Gethin Prothero", "Prothero, Gethin", "01"),
    ("Hoku Kealamakia", "Kealamakia, Hoku", "01"),
    ("Malik Thornbury", "Thornbury, Malik", "02"),
    ("Noor Al-Sabbagh", "Al-Sabbagh, Noor", "02"),
    ("Oluwaseun Adebisi", "Adebisi, Oluwaseun", "02"),
    ("Παύλος Ανδρεάδης", "Ανδρεάδης, Παύλος", "02"),
    ("Quỳnh Lê", "Lê Quỳnh", "02"),
    ("Rósa Ketilsdóttir", "Rósa Ketilsdóttir", "02"),
    ("Sipho Mabunda", "Mabunda, Sipho", "02"),
    ("Tomás Iriarte", "Iriarte, Tomás", "02"),
    ("Uxía Lourido", "Lourido, Uxía", "02"),
    ("Väinö Hirvelä", "Hirvelä, Väinö", "02"),
    ("Xochitl Barrera", "Barrera, Xochitl", "02"),
    ("Zsófia Kerekes", "Kerekes, Zsófia", "02"),
    ("Iolanda Prats", "Prats, Iolanda", "02"),
    ("Jarek Domalewski", "Domalewski, Jarek", "02"),
    ("Kofi Amankwatia", "Amankwatia, Kofi", "02"),
    ("Ljiljana Vukoja", "Vukoja, Ljiljana", "02"),
    ("Maeve Corrigan", "Corrigan, Maeve", "02"),
    ("Nikau Tahere", "Tahere, Nikau", "02"),
    ("Orhan Demirci", "Demirci, Orhan", "02"),
    ("Paloma Ybarra", "Ybarra, Paloma", "02"),
    ("Rahim Jafarov", "Jafarov, Rahim", "00"),
    ("Saoirse Quilty", "Quilty, Saoirse", "00"),
    ("Tendai Chigumba", "Chigumba, Tendai", "00"),
    ("Ursula Pfander", "Pfander, Ursula", "00"),
    ("Vasilis Kontarinis", "Kontarinis, Vasilis", "00"),
    ("Wanda Sokolik", "Sokolik, Wanda", "00"),
    ("Ximena Quispe", "Quispe, Ximena", "00"),
    ("Yerlan Bektasov", "Bektasov, Yerlan", "00"),
    ("Zainab Wardak", "Wardak, Zainab", "00"),
    ("Aputsiaq Lynge", "Lynge, Aputsiaq", "00"),
    ("Bronagh Tierney", "Tierney, Bronagh", "00"),
    ("Corentin Maillart", "Maillart, Corentin", "00"),
    ("Dinesh Ranasinghe", "Ranasinghe, Dinesh", "00"),
    ("Eszter Vadnai", "Vadnai, Eszter", "00"),
    ("Folasade Ilori", "Ilori, Folasade", "00"),
    ("Giulia Santarossa", "Santarossa, Giulia", "00"),
    ("Henrike Vollmers", "Vollmers, Henrike", "00"),
    ("Iskandar Rahmat", "Rahmat, Iskandar", "00"),
    ("Jovana Milovac", "Milovac, Jovana", "00"),
    ("Kaito Mizushima", "Mizushima, Kaito", "00"),
    ("Lindiwe Khoza", "Khoza, Lindiwe", "000"),
    ("Matteo Brandolin", "Brandolin, Matteo", "000"),
    ("Ngaire Pohatu", "Pohatu, Ngaire", "000"),
    ("Oskar Lindqvist", "Lindqvist, Oskar", "000"),
    ("Perihan Sezgin", "Sezgin, Perihan", "000"),
    ("Rosalba Quintero", "Quintero, Rosalba", "000"),
    ("Samir Belkacem", "Belkacem, Samir", "000"),
    ("Tuulikki Harju", "Harju, Tuulikki", "000"),
    ("Valeria Montoya", "Montoya, Valeria", "000"),
    ("Wojciech Sadura", "Sadura, Wojciech", "000"),
    ("Yuki Hanamura", "Hanamura, Yuki", "000"),
    ("Zoltan Berecz", "Berecz, Zoltan", "000"),
    ("Adaeze Nwosu", "Nwosu, Adaeze", "000"),
    ("Bastien Corveau", "Corveau, Bastien", "000"),
)

STUDENT = "amara.okonjo@larkmoor.example"
INSTRUCTOR = "ingrid.sollberg@larkmoor.example"
DEPARTMENT = "wanjiru.kamande@larkmoor.example"

# (name, as listed, address before the @, role, teaches sections)
STAFF = (
    ("Ingrid Sollberg", "Sollberg, Ingrid", "ingrid.sollberg", Role.INSTRUCTOR, ("01", "00")),
    ("Teodoro Banaag", "Banaag, Teodoro", "teodoro.banaag", Role.INSTRUCTOR, ("02", "000")),
    ("Wanjiru Kamande", "Kamande, Wanjiru", "wanjiru.kamande", Role.DEPARTMENT, ()),
    ("Yosef Brandt", "Brandt, Yosef", "yosef.brandt", Role.ADMINISTRATOR, ()),
)

# Addresses of those whose names have other letters than an address has.
ADDRESSES = {
    "Đặng Thị Mai": "mai.dang",
    "Elif Yıldırım": "elif.yildirim",
    "Grzegorz Wiśniak": "grzegorz.wisniak",
    "Ilse van der Molen": "ilse.vandermolen",
    "Joaquín Peñalver": "joaquin.penalver",
    "Лариса Мельничук": "larysa.melnychuk",
    "Anselm Brückner": "anselm.brueckner",
    "Dagný Hrafnsdóttir": "dagny.hrafnsdottir",
    "Noor Al-Sabbagh": "noor.alsabbagh",
    "Παύλος Ανδρεάδης": "pavlos.andreadis",
    "Quỳnh Lê": "quynh.le",
    "Rósa Ketilsdóttir": "rosa.ketilsdottir",
    "Tomás Iriarte": "tomas.iriarte",
    "Uxía Lourido": "uxia.lourido",
    "Väinö Hirvelä": "vaino.hirvela",
    "Zsófia Kerekes": "zsofia.kerekes",
}


def address_of(name: str) -> str:
    """Return the address of a student, who has none outside this demo."""
    return ADDRESSES.get(name) or name.lower().replace(" ", ".")
