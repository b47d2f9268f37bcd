//! Words for kinds of parts, for what is no part, and words that say nothing of the model.
//!
//! Folded like titles; languages as in `words`.

use super::Sign;
use super::lexicon::{Row, Word};
use crate::catalogue::Kind;

const fn kind(kind: Kind) -> Word {
    Word::Sign(Sign::Kind(kind))
}

pub(super) const ROWS: &[Row] = &[
    (
        kind(Kind::Cpu),
        "cpu|prozessor|processor|processeur|procesador|processore|procesor|apu|processador",
    ),
    (
        kind(Kind::Cooler),
        "cooler|kuhler|kuehler|kuhlung|kuehlung|cpu kuhler|cpu kuehler|cpu cooler|cpu air cooler|\
         cpu liquid cooler|wasserkuhlung|aio|all in one|ventirad|watercooling|water cooling|\
         refrigeracion liquida|refrigeracion|koeler|cpu koeler|chlodzenie|chlodzenie cpu|\
         chlodzenie wodne|liquid cooler|liquid cooling|waterkoeling|refroidissement|\
         raffreddamento|raffreddamento a liquido|dissipatore cpu|dissipatore per cpu|disipador cpu|\
         chladic|chladic cpu|chlazeni|vodni chlazeni|kylare|cpu kylare|processorkylare|luftkylare|\
         vattenkylning|watercooler",
    ),
    (
        kind(Kind::Board),
        "mainboard|motherboard|carte mere|placa base|scheda madre|moederbord|plyta glowna|board|\
         hauptplatine|zakladni deska|placa mae|moderkort",
    ),
    (
        kind(Kind::Memory),
        "ram|arbeitsspeicher|speicher|memory|memoire|memoire vive|memoria|memoria ram|geheugen|\
         werkgeheugen|pamiec|pamiec ram|ram modul|ram riegel|pamet|pameti|operacni pamet|\
         minne|ramminne|internminne|arbetsminne",
    ),
    (
        kind(Kind::Gpu),
        "grafikkarte|graphics card|graphic card|video card|carte graphique|tarjeta grafica|\
         scheda video|scheda grafica|videokaart|grafische kaart|karta graficzna|gpu|vga|karte|\
         graficka karta|placa de video|placa grafica|grafikkort",
    ),
    (
        kind(Kind::Storage),
        "ssd|hdd|festplatte|hard drive|hard disk|harddisk|disque dur|disque ssd|disco duro|\
         disco|harde schijf|dysk|dysk ssd|dysk twardy|solid state drive|solid state disk|\
         pevny disk|disk|disco rigido",
    ),
    (
        kind(Kind::Psu),
        "netzteil|pc netzteil|power supply|power supply unit|psu|alimentation|bloc d alimentation|\
         fuente de alimentacion|fuente|alimentatore|voeding|zasilacz|\
         zdroj|napajeci zdroj|pocitacovy zdroj|fonte|fonte de alimentacao|nataggregat|natdel",
    ),
    (
        kind(Kind::Case),
        "gehause|gehaeuse|case|chassis|boitier|caja|behuizing|obudowa|pc case|pc gehause|\
         computer case|gaming case|pc gehaeuse|skrin|pc skrin|pocitacova skrin|gabinete|chassi|\
         datorchassi",
    ),
    (
        kind(Kind::Fan),
        "lufter|luefter|fan|fans|case fan|case fans|ventilateur|ventilateurs|ventilador|\
         ventiladores|ventola|ventole|ventilator|ventilatoren|wentylator|wentylatory|\
         ventilatory|ventoinha|ventoinhas|flakt|flaktar|chassiflakt",
    ),
    (
        Word::Sign(Sign::System),
        "gaming pc|pc gaming|pc gamer|komplett pc|komplettpc|komplettsystem|desktop pc|\
         desktop computer|pc system|notebook|laptop|barebone|barebones|mini pc|workstation|\
         gaming rechner|rechner|ordinateur|ordinateur portable|pc portable|ordenador|portatil|\
         pc portatile|portatile|computer|komputer|spelcomputer|spielecomputer|prebuilt|pre built|\
         all in one pc|fertig pc|pc fertig|\
         pocitac|stolni pocitac|herni pocitac|herni pc|pocitacova sestava|herni sestava|\
         computador|computador de secretaria|dator|stationar dator|speldator|barbar dator|\
         ordenador de sobremesa|pc fisso|computer fisso|komputer stacjonarny|\
         zestaw komputerowy|game pc|gamepc|desktopcomputer",
    ),
    (
        Word::Sign(Sign::Bundle),
        "master carton|master case|umkarton|carton complet|karton zbiorczy|bundle|bundel|konvolut|kombi|kombo|combo|paket|paketangebot|aufrustset|aufrust set|\
         aufruestset|aufrust kit|aufrustkit|upgrade set|upgrade kit|upgradeset|kit upgrade|\
         kit d evolution|kit evolution|kit de actualizacion|kit di aggiornamento|pacchetto|\
         paquete|pakket|pakiet|upgrade bundle|zestaw upgrade|two kits|zwei kits|deux kits|dos kits|due kit|twee kits|dwa zestawy",
    ),
    (
        Word::Sign(Sign::Set),
        "set|sets|sparset|zestaw|juego|lot|pack|packung|vpe|stuckzahl|sada|conjunto|sats",
    ),
    (Word::Sign(Sign::Kit), "kit|kits"),
    (
        Word::Sign(Sign::Only),
        "only|nur|seulement|uniquement|solo|solamente|alleen|tylko|pouze|jen|apenas|somente|endast|bara",
    ),
    (
        Word::Sign(Sign::Choice),
        "auswahl|zur auswahl|verschiedene|verschiedene modelle|diverse|various|various models|\
         choice|au choix|a eleccion|a scelta|naar keuze|do wyboru|na vyber|a escolha|valfri|wahlweise|different models|\
         plusieurs modeles|varios modelos|vari modelli",
    ),
    (
        Word::Sign(Sign::ForParts),
        "for parts|fur bastler|fuer bastler|an bastler|bastler|defekt|defekte|defekter|defektes|\
         defective|broken|faulty|not working|nicht funktionsfahig|kaputt|pour pieces|hors service|\
         en panne|para piezas|no funciona|averiado|per ricambi|per pezzi|non funzionante|non funziona|ne fonctionne pas|werkt niet|nie dziala|nicht funktionierend|parts repair|parts or repair|guasto|\
         guasta|difettoso|difettosa|rotto|rotta|da riparare|danneggiato|danneggiata|voor onderdelen|defect|defecte|kapot|na czesci|uszkodzony|uszkodzona|uszkodzone|\
         ersatzteilspender|ersatzteiltrager|for repair|to repair|zur reparatur|reparaturbedurftig|\
         a reparer|para reparar|do naprawy|ter reparatie|voor reparatie|parts only|spares only|\
         ohne funktion|danado|danada|endommage|endommagee|beschadigt|beschadigte|damaged|beschadigd|\
         zepsuty|zepsuta|niesprawny|niesprawna|spares or repair|spares repair|dead|\
         na dily|na nahradni dily|nefunkcni|vadny|vadna|vadne|poskozeny|poskozena|poskozene|\
         para pecas|com defeito|nao funciona|avariada|danificado|danificada|for delar|\
         reservdelsobjekt|trasig|trasigt|fungerar ej|ej fungerande",
    ),
    (
        Word::Sign(Sign::Accessory),
        "backplate|back plate|kabel|kabelset|kabelsatz|kabelverlangerung|cable|cables|cable set|cable kit|\
         extension|cavo|cavi|cable de|przewod|bracket|brackets|halterung|halter|holder|stutze|\
         stuetze|anti sag|supporto|soporte|staubfilter|filter|filtre|filtro|filtr|gitter|grille|\
         grill|griglia|rejilla|blende|i o blende|io blende|i o shield|io shield|montagekit|\
         montageset|montage kit|mounting kit|mounting bracket|mounting frame|kit de montage|\
         kit di montaggio|kit de montaje|zestaw montazowy|montagerahmen|einbaurahmen|frame|rahmen|\
         adapter|adaptateur|adaptador|adattatore|klammern|klammer|clips|clip|schrauben|screws|\
         seitenteil|seitenwand|side panel|panneau lateral|pannello laterale|panel lateral|\
         zijpaneel|leerkarton|karton|nur verpackung|nur karton|nur ovp|empty box|box only|\
         boite vide|emballage vide|scatola vuota|caja vacia|lege doos|puste pudelko|\
         wasserkuhlblock|wasserkuhler|wasserblock|waterblock|water block|watercooling block|\
         bloc d eau|riser|riser kabel|warmeleitpaste|waermeleitpaste|thermal paste|thermal grease|\
         pate thermique|pasta termica|pasta termoprzewodzaca|koelpasta|warmeleitpad|warmeleitpads|\
         thermal pad|thermal pads|pad thermique|gummi|anti vibration|anti vibrations|hulle|huelle|\
         sleeve|aufkleber|sticker|stickers|handbuch|manual only|only manual|anleitung|nur anleitung|handleiding|\
         papers|papers only|papiere|nur papiere|nur rechnung|invoice only|documents only|notice seule|\
         warranty card|garantiekarte|certificate|nur zubehor|accessories only|splitter|manual|manuel|\
         manuale|bedienungsanleitung|mode d emploi|instrukcja|navod|prirucka|handbok|\
         leere ovp|leere verpackung|leerer karton|empty packaging|empty carton|emballage seul|\
         boite seule|solo caja|solo scatola|lege verpakking|puste opakowanie|prazdna krabice|\
         prazdny obal|caixa vazia|tom kartong|tom forpackning|externes gehause|externes gehaeuse|\
         external enclosure|enclosure|boitier externe|caja externa|case esterno|externe behuizing|\
         standoffs|abstandshalter|steckplatzblech|feet|fusse|power button",
    ),
    (
        Word::Sign(Sign::Accessory),
        "ersatz|ersatzteil|replacement|de rechange|de remplacement|recambio|repuesto|de repuesto|\
         ricambio|di ricambio|vervangend|vervanging|zamienny|zapasowy|spare",
    ),
    (
        Word::Silent,
        "neu|new|nuevo|nueva|nouveau|nuovo|nieuw|nowy|nowa|neuf|ovp|neuware|original|originale|\
         gaming|gamer|sofort|lieferbar|lagernd|lager|lagerware|ab|auf|in|und|and|et|oder|or|the|der|\
         die|das|den|von|vom|zu|zum|de|du|la|le|les|el|il|un|une|eine|ein|bis|up|to|van|een|w|na|i o|\
         versand|versandkostenfrei|mwst|ust|vat|ttc|iva|gratis|kostenlos|free|shipping|delivery|\
         livraison|envio|bestseller|deal|angebot|sale|promo|edition|version|modell|model|modele|\
         modelo|modello|modelljahr|serie|series|aktiv|kurz|kurze|kompaktkuhler|\
         leise|quiet|sealed|unlocked|boost|tower|midi|mid|big|turm|doppelturm|twin tower|\
         dual tower|midi tower|mid tower|mini tower|big tower|full tower|intern|interne|internal|\
         interno|pc|desktop|computer zubehor|modular|modulaire|modulare|modulair|modularny|cpus|\
         dual channel|quad channel|ecc|xmp|expo|gutschein|voucher|spielegutschein|game|spiel|\
         skt|garantie|warranty|guarantee|garantia|garanzia|stuck|stueck|sockel|socket|so|zocalo|\
         zoccolo|gniazdo|chip|chipset|chipsatz|express|pcie|pci|dp|hdmi|displayport|usb|type|typ|\
         zoll|inch|pouces|pollici|pulgadas|cali|cache|threads|thread|kerne|kern|kernen|core|cores|\
         coeurs|coeur|rdzeni|nucleos|nuclei|octa|hexa|quad|vram|video|gddr|igpu|grafik|graphics|\
         grafische|grafica|graphique|integriert|integre|integrated|lesen|read|schreiben|write|tlc|\
         qlc|tbw|lan|getestet|tested|grade|top zustand|modul|module|modulo|riegel|ram kit|\
         tauglich|ready|lieferung|inside|drei|zwei|two|three|deux|trois|due|tre|adressierbar|\
         refrigerador|zur|zum einbau|of|hz|dba|rpm|netto|brutto|watt|watts",
    ),
];

/// What the second half of a compound says.
pub(super) const ENDS: &[(Word, &str)] = &[
    (
        Word::Sign(Sign::Accessory),
        "kabel|halterung|halter|filter|gitter|blende|klammern|rahmen|schrauben|adapter|\
         verlangerung|kuhlblock|seitenteil|leitpaste|stutze",
    ),
    (Word::Sign(Sign::Bundle), "paket|bundle"),
    (kind(Kind::Cooler), "kuhler|kuehler|kuhlung|kuehlung"),
    (kind(Kind::Fan), "lufter|luefter|lufterset"),
    (kind(Kind::Psu), "netzteil"),
    (kind(Kind::Board), "mainboard"),
    (kind(Kind::Gpu), "grafikkarte|grafikkarten"),
    (kind(Kind::Memory), "speicher"),
    (kind(Kind::Storage), "festplatte"),
    (kind(Kind::Case), "gehause|gehaeuse"),
];

/// What the first half of a compound says.
pub(super) const BEGINNINGS: &[(Word, &str)] = &[(Word::Sign(Sign::Accessory), "ersatz")];
