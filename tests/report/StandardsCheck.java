import java.io.FileInputStream;
import java.util.List;
import java.util.logging.Level;
import java.util.logging.Logger;
import org.verapdf.gf.foundry.VeraGreenfieldFoundryProvider;
import org.verapdf.pdfa.Foundries;
import org.verapdf.pdfa.flavours.PDFAFlavour;
import org.verapdf.pdfa.results.TestAssertion;
import org.verapdf.pdfa.validation.profiles.Profiles;
import org.verapdf.pdfa.validation.profiles.ValidationProfile;

/** Holds PDF files against veraPDF's rules: one line a file and profile, then one a broken rule. */
public class StandardsCheck {
    private static final int MOST_FAILURES = 1_000_000;

    public static void main(String[] files) throws Exception {
        Logger.getLogger("").setLevel(Level.SEVERE);
        VeraGreenfieldFoundryProvider.initialise();
        for (String file : files) {
            for (String profile : List.of("PDFUA-1", "PDFA-3A")) {
                check(file, profile);
            }
        }
    }

    private static void check(String file, String name) throws Exception {
        String flavour = name.startsWith("PDFUA") ? "ua1" : "3a";
        String rules = "/org/verapdf/pdfa/validation/" + name + ".xml";
        ValidationProfile profile = Profiles.profileFromXml(StandardsCheck.class.getResourceAsStream(rules));
        var foundry = Foundries.defaultInstance();
        try (var content = new FileInputStream(file);
                var parser = foundry.createParser(content, PDFAFlavour.byFlavourId(flavour));
                var validator = foundry.createValidator(profile, MOST_FAILURES, false, false, false)) {
            var result = validator.validate(parser);
            String verdict = result.isCompliant() ? "passes" : "fails";
            System.out.println(String.join("\t", file, flavour, verdict, String.valueOf(result.getTotalAssertions())));
            result.getTestAssertions().stream()
                    .filter(one -> one.getStatus() == TestAssertion.Status.FAILED)
                    .map(one -> one.getRuleId().getClause() + "-" + one.getRuleId().getTestNumber() + " " + one.getMessage())
                    .distinct()
                    .sorted()
                    .forEach(rule -> System.out.println("\t" + rule));
        }
    }
}
